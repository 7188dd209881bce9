import type { Pose, Vec3 } from '../math/index.ts';
import { rotate } from '../math/index.ts';
import { constant, type Dual, type DualVector, dualDot, dualScale, dualSubtract, times } from './dual-numbers.ts';
import type { NetworkState, PlainLink } from './linear-link.ts';
import type { CentredFeature, NetworkLink, NetworkModel } from './network-model.ts';

/** Six motions and one scale a frame. */
const WIDTH = 7;

/** A feature in the job, with its derivatives. `u`, `v`: unit vectors across its direction, turning with the frame. */
interface MovedFeature {
  readonly shape: CentredFeature['shape'];
  readonly point: DualVector;
  readonly direction: DualVector;
  readonly u: DualVector;
  readonly v: DualVector;
}

/** Numbers that are zero when the relation holds; offsets in mm, angles as sines. */
interface Conditions {
  readonly offsets: readonly Dual[];
  readonly angles: readonly Dual[];
}

/**
 * Linearises a relation of two features: coincident, parallel, perpendicular or symmetric.
 *
 * Method   conditions as products of vectors that move with their frames, differentiated exactly (dual numbers).
 *
 * @throws RangeError for a relation that its features cannot have
 */
export function lineariseRelation(
  link: NetworkLink & { readonly kind: 'relation' },
  model: NetworkModel,
  state: NetworkState,
): PlainLink {
  const frames = [...new Set(link.features.map((f) => f.frame))];
  const moved = link.features.map((f) => moveFeature(f, frames.indexOf(f.frame), frames.length, model, state));
  const { offsets, angles } = conditionsOf(link, moved);
  const all = [...offsets, ...angles];
  const size = all.length;
  const weight = new Float64Array(size * size);
  const misclosure = Float64Array.from(all, (d) => d[0]);
  let weightedSumSquares = 0;
  misclosure.forEach((e, i) => {
    const sigma = i < offsets.length ? link.source.sigma : link.source.angleSigma;
    weight[i * (size + 1)] = 1 / (sigma * sigma);
    weightedSumSquares += (e * e) / (sigma * sigma);
  });
  return {
    size,
    misclosure,
    weight,
    slope: misclosure.map((e, i) => weight[i * (size + 1)] * e),
    frames: frames.map((frame, f) => {
      const jacobian = new Float64Array(6 * size);
      all.forEach((d, i) => {
        jacobian.set(d.subarray(1 + WIDTH * f, 7 + WIDTH * f), 6 * i);
      });
      return [frame, jacobian];
    }),
    points: [],
    scales: frames.map((frame, f) => [frame, Float64Array.from(all, (d) => d[7 + WIDTH * f])]),
    weightedSumSquares,
    rank: size,
    angleCount: angles.length,
  };
}

function moveFeature(
  feature: CentredFeature,
  slot: number,
  slots: number,
  model: NetworkModel,
  state: NetworkState,
): MovedFeature {
  const pose = state.poses[feature.frame] as Pose;
  const radius = model.radii[feature.frame] as number;
  let shrink = 1;
  model.terms.forEach((t, k) => {
    shrink += t.coefficients[feature.frame] * (state.terms[k] as number);
  });
  const width = 1 + WIDTH * slots;
  const turning = (value: Vec3, isPoint: boolean): DualVector => {
    const arm = rotate(pose.rotation, value);
    const lever = isPoint ? (arm.map((c) => c / shrink) as unknown as Vec3) : arm;
    return [0, 1, 2].map((k) => {
      const d = new Float64Array(width);
      const at = 1 + WIDTH * slot;
      d[0] = (lever[k] as number) + (isPoint ? (pose.translation[k] as number) : 0);
      if (isPoint) {
        d[at + k] = 1;
        d[at + 6] = -(lever[k] as number);
      }
      // r x lever
      const [i, j] = [(k + 1) % 3, (k + 2) % 3];
      d[at + 3 + i] = (lever[j] as number) / radius;
      d[at + 3 + j] = -(lever[i] as number) / radius;
      return d;
    }) as unknown as DualVector;
  };
  const [u, v] = across(feature.shape === 'point' ? [0, 0, 1] : feature.direction);
  return {
    shape: feature.shape,
    point: turning(feature.point, true),
    direction: turning(feature.direction, false),
    u: turning(u, false),
    v: turning(v, false),
  };
}

/** Two unit vectors across a direction, in the frame's own axes. */
function across(d: Vec3): [Vec3, Vec3] {
  const size = d.map(Math.abs);
  const least = size.indexOf(Math.min(...size));
  const axis = [0, 1, 2].map((k) => (k === least ? 1 : 0)) as unknown as Vec3;
  const along = axis[0] * d[0] + axis[1] * d[1] + axis[2] * d[2];
  const u = axis.map((a, k) => a - along * (d[k] as number));
  const length = Math.hypot(...u);
  const unit = u.map((a) => a / length) as unknown as Vec3;
  return [unit, [d[1] * unit[2] - d[2] * unit[1], d[2] * unit[0] - d[0] * unit[2], d[0] * unit[1] - d[1] * unit[0]]];
}

function conditionsOf(link: NetworkLink & { readonly kind: 'relation' }, moved: readonly MovedFeature[]): Conditions {
  const [a, b] = moved as [MovedFeature, MovedFeature];
  const { relation } = link.source;
  const found =
    relation === 'coincident'
      ? coincident(a, b)
      : relation === 'symmetric'
        ? symmetric(a, b, moved[2] as MovedFeature)
        : direction(a, b, relation === 'parallel');
  if (!found)
    throw new RangeError(`Observation of tie ${link.source.tie}: ${a.shape} and ${b.shape} cannot be ${relation}.`);
  return found;
}

/** Parallel (or perpendicular) in the everyday sense: a plane is parallel to an axis that lies along it. */
function direction(a: MovedFeature, b: MovedFeature, isParallel: boolean): Conditions | null {
  if (a.shape === 'point' || b.shape === 'point') return null;
  const areAlike = a.shape === b.shape;
  return {
    offsets: [],
    angles:
      areAlike === isParallel
        ? [dualDot(b.u, a.direction), dualDot(b.v, a.direction)]
        : [dualDot(a.direction, b.direction)],
  };
}

function coincident(a: MovedFeature, b: MovedFeature): Conditions | null {
  const rank = { point: 0, axis: 1, plane: 2 };
  const [first, second] = rank[a.shape] <= rank[b.shape] ? [a, b] : [b, a];
  const off = dualSubtract(first.point, second.point);
  const turned = first.shape === 'point' ? [] : (direction(first, second, true) as Conditions).angles;
  if (second.shape === 'point') return { offsets: off, angles: [] };
  if (second.shape === 'axis') return { offsets: [dualDot(second.u, off), dualDot(second.v, off)], angles: turned };
  return { offsets: [dualDot(second.direction, off)], angles: turned };
}

/** The mirror image of a coincides with b. */
function symmetric(a: MovedFeature, b: MovedFeature, plane: MovedFeature): Conditions | null {
  if (a.shape !== b.shape) return null;
  const n = plane.direction;
  const mirror = (v: DualVector): DualVector =>
    dualSubtract(v, dualScale(n, times(constant(2, n[0].length), dualDot(n, v))));
  const fromPlane = dualSubtract(a.point, plane.point);
  // mirror(a) - b = mirror(a - q) - (b - q)
  const off = dualSubtract(mirror(fromPlane), dualSubtract(b.point, plane.point));
  if (a.shape === 'point')
    return { offsets: [dualDot(plane.u, off), dualDot(plane.v, off), dualDot(n, off)], angles: [] };
  const turned = mirror(a.direction);
  const angles = [dualDot(b.u, turned), dualDot(b.v, turned)];
  return a.shape === 'axis'
    ? { offsets: [dualDot(b.u, off), dualDot(b.v, off)], angles }
    : { offsets: [dualDot(b.direction, off)], angles };
}
