import type {
  JobDocument,
  JobProbeSet,
  JobTargetList,
  ProbedPoint,
  ScanData,
  Target,
  Tie,
  Vec3,
} from '@lapjoint/engine';
import { lengthFactorOfFrame } from './length-factors.ts';

function scaled(point: Vec3, factor: number): Vec3 {
  return [factor * point[0], factor * point[1], factor * point[2]];
}

/**
 * A scan with its coordinates reduced to 20 degrees Celsius, about the frame's origin. Changes the arrays that it is given:
 * only for a scan that nobody else holds yet.
 *
 * @param factor of `lengthFactor`
 */
export function reduceScanInPlace(scan: ScanData, factor: number): ScanData {
  if (factor === 1) return scan;
  const { positions, viewpoint } = scan;
  for (let i = 0; i < positions.length; i++) positions[i] = factor * (positions[i] as number);
  return {
    ...scan,
    origin: scaled(scan.origin, factor),
    viewpoint:
      viewpoint?.kind === 'position' ? { kind: 'position', position: scaled(viewpoint.position, factor) } : viewpoint,
  };
}

/**
 * Targets of a list with their coordinates multiplied about the frame's origin.
 *
 * @param factor of `lengthFactorOf` to align, of `placedFactorOf` for the frame's pose
 */
export function reducedTargets(list: JobTargetList, factor: number): readonly Target[] {
  if (factor === 1) return list.targets;
  return list.targets.map((target) => ({ ...target, position: scaled(target.position, factor) }));
}

/** Probed points likewise. The tip is not part of the object and keeps its size. */
export function reducedProbePoints(set: JobProbeSet, factor: number): readonly ProbedPoint[] {
  if (factor === 1) return set.points;
  return set.points.map((point) => ({ ...point, position: scaled(point.position, factor) }));
}

/** Ties with picked points in coordinates reduced to 20 degrees Celsius. */
export function reducedTies(document: JobDocument): readonly Tie[] {
  return document.ties.map((tie) => {
    if (tie.kind !== 'picked') return tie;
    const a = lengthFactorOfFrame(document, tie.frameA);
    const b = lengthFactorOfFrame(document, tie.frameB);
    if (a === 1 && b === 1) return tie;
    return { ...tie, pairs: tie.pairs.map((pair) => ({ ...pair, a: scaled(pair.a, a), b: scaled(pair.b, b) })) };
  });
}
