import type { Vec3 } from '../math/index.ts';
import { blockFreeMotions } from './frame-results.ts';
import { describeFreeMotion } from './free-directions.ts';
import type { NetworkModel } from './network-model.ts';
import type { SolvedNetwork } from './solve-network.ts';
import type { StatedCovariance } from './stated-covariance.ts';
import { coverTarget } from './target-covariance.ts';

/** An adjusted target or named point. */
export interface AdjustedTarget {
  readonly name: string;
  /** mm, in the job. */
  readonly position: Vec3;
  /** 3 x 3 row-major, mm^2; zeros for fixed points. */
  readonly covariance: readonly number[];
  /** Frames that saw it; empty for points that only distances, differences and known coordinates touch. */
  readonly frames: readonly string[];
}

/** A named point without a place. */
export interface RefusedPoint {
  readonly name: string;
  readonly message: string;
  readonly remedy: string;
}

/** All targets and points with their stated covariances, and the points that have none. */
export function targetResults(
  model: NetworkModel,
  solved: SolvedNetwork,
  stated: StatedCovariance,
  enlargement: number,
): { targets: AdjustedTarget[]; refused: RefusedPoint[] } {
  const { unknowns, linear } = solved;
  const inJob = (p: Vec3): Vec3 => [p[0] + model.jobOffset[0], p[1] + model.jobOffset[1], p[2] + model.jobOffset[2]];
  const targets: AdjustedTarget[] = linear.targets.map((t) => ({
    name: t.target.name,
    position: inJob(t.position),
    covariance: Array.from(coverTarget(t, stated.block, stated.blockOfTerm).own, (c) => c * enlargement),
    frames: t.target.sightings.map((s) => s.source.frame),
  }));
  const refused: RefusedPoint[] = [];
  model.points.forEach((point, i) => {
    if (!unknowns.usedPoints[i]) {
      refused.push({
        name: point.name,
        message: `Nothing says where point \`${point.name}\` is.`,
        remedy: 'Give it approximate coordinates, or tie it to points and frames that are placed.',
      });
      return;
    }
    const block = unknowns.blockOfPoint[i];
    const free = block < 0 ? [] : blockFreeMotions(solved, block);
    if (free.length > 0) {
      const six = free.map((v) => Float64Array.from([v[0], v[1], v[2], 0, 0, 0]));
      refused.push({
        name: point.name,
        message: `Nothing holds point \`${point.name}\` ${describeFreeMotion(six).join(', ')}.`,
        remedy: 'Add a distance, a height difference or known coordinates that hold this motion, or choose a datum.',
      });
      return;
    }
    const seenBy = model.links.flatMap((l) => (l.kind === 'target' && l.point === i ? [l.source.frame] : []));
    targets.push({
      name: point.name,
      position: inJob(linear.state.points[i] as Vec3),
      covariance:
        block < 0 ? new Array<number>(9).fill(0) : Array.from(stated.block(block, block), (c) => c * enlargement),
      frames: seenBy,
    });
  });
  return { targets, refused };
}
