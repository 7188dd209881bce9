import { type Pose, type Quaternion, rotationMatrix, type Vec3 } from '../math/index.ts';
import type { TargetObservation } from '../model/index.ts';
import type { LinearLink } from './linear-link.ts';
import type { NetworkLink, NetworkModel } from './network-model.ts';

/** One measured number after the adjustment: what data snooping looks at. Only where numbers were observed independently of each other. */
export interface ScalarResidual {
  readonly tie: string;
  readonly kind: NetworkLink['kind'];
  /** What was measured: a target's name, `A - B` for two points, else the number within the tie, from 1. */
  readonly name: string;
  /** Targets in the axes of the frame that saw them, all others in those of the job. */
  readonly component: 'x' | 'y' | 'z' | 'distance' | 'height' | 'offset' | 'angle';
  readonly frames: readonly string[];
  /** Observed minus adjusted, mm (rad for angles). */
  readonly residual: number;
  readonly sigma: number;
  /** Share of an error in it that shows in its own residual, 0 to 1. */
  readonly redundancy: number;
  /** w = residual / (sigma sqrt(redundancy)) [Baarda68]; null where nothing checks the number. */
  readonly standardised: number | null;
  /** w over the a-posteriori standard deviation of unit weight [Pope76]; null without redundancy. */
  readonly tau: number | null;
  readonly robustWeight: number;
}

/** Redundancy below this is rounding: nothing checks that number. */
const LEAST_REDUNDANCY = 1e-6;

type Subject = Pick<ScalarResidual, 'tie' | 'kind' | 'name' | 'frames' | 'robustWeight'>;

function judge(
  subject: Subject,
  component: ScalarResidual['component'],
  residual: number,
  sigma: number,
  variance: number,
): ScalarResidual {
  const redundancy = Math.max(0, 1 - (variance * subject.robustWeight) / (sigma * sigma));
  return {
    ...subject,
    component,
    residual,
    sigma,
    redundancy,
    standardised: redundancy > LEAST_REDUNDANCY ? residual / (sigma * Math.sqrt(redundancy)) : null,
    tau: null,
  };
}

const AXES = ['x', 'y', 'z'] as const;
const isDiagonal3 = (m: ArrayLike<number>): boolean => [1, 2, 3, 5, 6, 7].every((k) => m[k] === 0);

/**
 * The single numbers of a link.
 *
 * @param adjusted covariance of the adjusted observation, size x size
 * @param number of the observation within its tie
 */
export function judgeScalars(
  model: NetworkModel,
  link: NetworkLink,
  l: LinearLink,
  poses: readonly Pose[],
  adjusted: Float64Array,
  robustWeight: number,
  number: number,
): ScalarResidual[] {
  const subject = (name: string, frames: readonly string[]): Subject => ({
    tie: link.source.tie,
    kind: link.kind,
    name,
    frames,
    robustWeight,
  });
  const variance = (k: number): number => adjusted[k * (l.size + 1)];
  const between = (from: number, to: number): string => `${model.points[from]?.name} - ${model.points[to]?.name}`;
  switch (link.kind) {
    case 'pair': {
      const own = subject(String(number), [link.source.frameA, link.source.frameB]);
      return AXES.map((axis, k) => judge(own, axis, l.misclosure[k], link.source.sigma, variance(k)));
    }
    case 'target': {
      const { rotation } = poses[link.sighting.frame] as Pose;
      const residual: Vec3 = [l.misclosure[0], l.misclosure[1], l.misclosure[2]];
      return sightingScalars(link.source, residual, rotation, adjusted, robustWeight);
    }
    case 'distance':
      return [
        judge(subject(between(link.from, link.to), []), 'distance', -l.misclosure[0], link.source.sigma, variance(0)),
      ];
    case 'difference':
    case 'known-point': {
      const { information } = link.source;
      if (information === 'fixed' || !isDiagonal3(information)) return [];
      const name =
        link.kind === 'difference' ? between(link.from, link.to) : (model.points[link.point]?.name as string);
      const own = subject(name, []);
      return AXES.flatMap((axis, k) => {
        const weight = information[4 * k] as number;
        return weight > 0 ? [judge(own, axis, -l.misclosure[k], 1 / Math.sqrt(weight), variance(k))] : [];
      });
    }
    case 'probe': {
      const own = subject(String(number), [link.source.frameA, link.source.frameB]);
      return [judge(own, 'height', l.misclosure[0], link.source.sigma, variance(0))];
    }
    case 'relation': {
      const own = subject(String(number), [link.source.a.frame, link.source.b.frame]);
      return Array.from(l.misclosure, (e, k) => {
        const isAngle = k >= l.size - l.angleCount;
        const sigma = isAngle ? link.source.angleSigma : link.source.sigma;
        return judge(own, isAngle ? 'angle' : 'offset', -e, sigma, variance(k));
      });
    }
    default:
      return [];
  }
}

/** Coordinates of a target in the axes of the frame that measured them. */
export function sightingScalars(
  source: TargetObservation,
  residual: Vec3,
  rotation: Quaternion,
  adjusted: ArrayLike<number>,
  robustWeight: number,
): ScalarResidual[] {
  if (!isDiagonal3(source.covariance)) return [];
  const r = rotationMatrix(rotation);
  const own: Subject = { tie: source.tie, kind: 'target', name: source.target, frames: [source.frame], robustWeight };
  return AXES.map((axis, k) => {
    // Column k of the rotation: the frame's axis in the job.
    const axisInJob = [r[k] as number, r[3 + k] as number, r[6 + k] as number] as const;
    let along = 0;
    let variance = 0;
    for (let i = 0; i < 3; i++) {
      along += (axisInJob[i] as number) * (residual[i] as number);
      for (let j = 0; j < 3; j++)
        variance += (axisInJob[i] as number) * (adjusted[3 * i + j] as number) * (axisInJob[j] as number);
    }
    return judge(own, axis, along, Math.sqrt(source.covariance[4 * k] as number), variance);
  });
}
