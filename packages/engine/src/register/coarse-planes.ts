import type { CoarseModel } from './coarse-model.ts';
import { type Motion, motionAngle } from './coarse-motion.ts';
import type { CoarseSurface } from './coarse-surface.ts';
import type { FeatureMatches } from './feature-match.ts';

/** A flat face of a scan: unit normal, mean point, samples on it. */
interface CoarsePlane {
  readonly normal: readonly [number, number, number];
  readonly point: readonly [number, number, number];
  readonly count: number;
}

/** Faces with fewer samples give no reliable normal; below a fiftieth of the scan they are the facets of a curved surface. */
const LEAST_SAMPLES = 20;
const LEAST_SHARE = 0.02;
const MOST_PLANES = 10;
/** Normals closer than this make one plane or one rotation, rad. */
const SAME_ANGLE = 0.1;

/** The largest flat faces of a scan, largest first. */
function findCoarsePlanes(surface: CoarseSurface): CoarsePlane[] {
  const { plane, planeCount, positions, normals, count, spacing } = surface;
  const sums = new Float64Array(7 * planeCount);
  for (let i = 0; i < count; i++) {
    const at = 7 * plane[i];
    for (let k = 0; k < 3; k++) {
      sums[at + k] += normals[3 * i + k];
      sums[at + 3 + k] += positions[3 * i + k];
    }
    sums[at + 6]++;
  }
  const found: CoarsePlane[] = [];
  for (let k = 0; k < planeCount; k++) {
    const s = sums.subarray(7 * k, 7 * k + 7);
    const n = s[6];
    const length = Math.hypot(s[0], s[1], s[2]);
    if (n < Math.max(LEAST_SAMPLES, LEAST_SHARE * count) || !(length > 0)) continue;
    found.push({
      normal: [s[0] / length, s[1] / length, s[2] / length],
      point: [s[3] / n, s[4] / n, s[5] / n],
      count: n,
    });
  }
  found.sort((a, b) => b.count - a.count);
  const distinct: CoarsePlane[] = [];
  for (const candidate of found) {
    const isKnown = distinct.some((other) => {
      if (dot3(other.normal, candidate.normal) < Math.cos(1.5 * SAME_ANGLE)) return false;
      const gap = [0, 1, 2].map((k) => candidate.point[k] - other.point[k]);
      return Math.abs(dot3(gap, other.normal)) < spacing;
    });
    if (!isKnown) distinct.push(candidate);
    if (distinct.length === MOST_PLANES) break;
  }
  return distinct;
}

function dot3(a: ArrayLike<number>, b: ArrayLike<number>): number {
  return (
    (a[0] as number) * (b[0] as number) + (a[1] as number) * (b[1] as number) + (a[2] as number) * (b[2] as number)
  );
}

function cross3(a: ArrayLike<number>, b: ArrayLike<number>): number[] {
  const [ax, ay, az] = [a[0] as number, a[1] as number, a[2] as number];
  const [bx, by, bz] = [b[0] as number, b[1] as number, b[2] as number];
  return [ay * bz - az * by, az * bx - ax * bz, ax * by - ay * bx];
}

/** Right-handed frame of two directions that are not parallel: columns bisector, difference, product. */
function frameOf(a: readonly number[], b: readonly number[]): number[][] {
  const unit = (v: number[]): number[] => {
    const length = Math.hypot(v[0], v[1], v[2]);
    return v.map((c) => c / length);
  };
  const sum = unit([a[0] + b[0], a[1] + b[1], a[2] + b[2]]);
  const difference = unit([a[0] - b[0], a[1] - b[1], a[2] - b[2]]);
  return [sum, difference, cross3(sum, difference)];
}

/** Rotations that bring two faces of the source onto two of the target. */
function rotationsOfPlanes(source: readonly CoarsePlane[], target: readonly CoarsePlane[]): Motion[] {
  const found: { motion: Motion; weight: number }[] = [];
  for (let i = 0; i < source.length; i++) {
    for (let j = i + 1; j < source.length; j++) {
      const sourceAngle = Math.acos(Math.min(1, Math.max(-1, dot3(source[i].normal, source[j].normal))));
      if (sourceAngle < 0.4 || sourceAngle > Math.PI - 0.4) continue;
      const from = frameOf(source[i].normal, source[j].normal);
      for (let k = 0; k < target.length; k++) {
        for (let l = 0; l < target.length; l++) {
          if (k === l) continue;
          const targetAngle = Math.acos(Math.min(1, Math.max(-1, dot3(target[k].normal, target[l].normal))));
          if (Math.abs(targetAngle - sourceAngle) > SAME_ANGLE) continue;
          const to = frameOf(target[k].normal, target[l].normal);
          const motion = new Float64Array(12);
          for (let r = 0; r < 3; r++) {
            for (let c = 0; c < 3; c++) {
              for (let axis = 0; axis < 3; axis++) motion[4 * r + c] += to[axis][r] * from[axis][c];
            }
          }
          const weight = Math.min(source[i].count, source[j].count, target[k].count, target[l].count);
          const known = found.find((other) => motionAngle(other.motion, motion) < SAME_ANGLE);
          if (known === undefined) found.push({ motion, weight });
          else if (weight > known.weight) known.motion.set(motion);
          if (known !== undefined) known.weight = Math.max(known.weight, weight);
        }
      }
    }
  }
  return found
    .sort((a, b) => b.weight - a.weight)
    .slice(0, 60)
    .map((item) => item.motion);
}

function turn(m: Motion, v: ArrayLike<number>): [number, number, number] {
  const [x, y, z] = [v[0] as number, v[1] as number, v[2] as number];
  return [m[0] * x + m[1] * y + m[2] * z, m[4] * x + m[5] * y + m[6] * z, m[8] * x + m[9] * y + m[10] * z];
}

/** Shifts at which three faces of the source lie on three of the target, whose normals a rotation has already aligned. */
function shiftsOfPlanes(rotation: Motion, source: readonly CoarsePlane[], target: readonly CoarsePlane[]): number[][] {
  const pairs: { normal: readonly number[]; offset: number; weight: number }[] = [];
  for (const s of source) {
    const n = turn(rotation, s.normal);
    const p = turn(rotation, s.point);
    for (const t of target) {
      if (dot3(n, t.normal) < Math.cos(1.5 * SAME_ANGLE)) continue;
      pairs.push({
        normal: t.normal,
        offset: dot3(t.normal, [t.point[0] - p[0], t.point[1] - p[1], t.point[2] - p[2]]),
        weight: Math.min(s.count, t.count),
      });
    }
  }
  pairs.sort((a, b) => b.weight - a.weight);
  const used = pairs.slice(0, 14);
  const shifts: number[][] = [];
  for (let i = 0; i < used.length; i++) {
    for (let j = i + 1; j < used.length; j++) {
      const ij = cross3(used[i].normal, used[j].normal);
      for (let k = j + 1; k < used.length; k++) {
        const determinant = dot3(ij, used[k].normal);
        if (Math.abs(determinant) < 0.3) continue;
        const jk = cross3(used[j].normal, used[k].normal);
        const ki = cross3(used[k].normal, used[i].normal);
        shifts.push(
          [0, 1, 2].map(
            (r) => (used[i].offset * jk[r] + used[j].offset * ki[r] + used[k].offset * ij[r]) / determinant,
          ),
        );
      }
    }
  }
  return shifts;
}

/** Shifts on which most feature matches agree once the rotation is known. */
function shiftsOfMatches(
  rotation: Motion,
  source: CoarseSurface,
  target: CoarseSurface,
  matches: FeatureMatches,
): number[][] {
  const size = 1.5 * source.spacing;
  const votes = new Map<string, { count: number; sum: [number, number, number] }>();
  for (let k = 0; k < matches.count; k++) {
    const s = 3 * matches.source[k];
    const t = 3 * matches.target[k];
    const n = turn(rotation, source.normals.subarray(s, s + 3));
    if (dot3(n, target.normals.subarray(t, t + 3)) < 0.9) continue;
    const p = turn(rotation, source.positions.subarray(s, s + 3));
    const shift = [0, 1, 2].map((r) => target.positions[t + r] - p[r]);
    const key = shift.map((value) => Math.round(value / size)).join(' ');
    const vote = votes.get(key) ?? { count: 0, sum: [0, 0, 0] };
    vote.count++;
    for (let r = 0; r < 3; r++) vote.sum[r] += shift[r];
    votes.set(key, vote);
  }
  return [...votes.values()]
    .filter((vote) => vote.count >= 3)
    .sort((a, b) => b.count - a.count)
    .slice(0, 12)
    .map((vote) => vote.sum.map((value) => value / vote.count));
}

/**
 * Poses in which flat faces of two scans lie on each other: for panels, boxes and housings, where descriptors are alike along
 * every edge.
 *
 * Method   two faces with equal angles give a rotation; a third face, or the shift on which most feature matches agree, gives the
 *          rest. Each is rated by `rate` and the best are returned.
 *
 * @param rate quick score of a pose, larger is better
 */
export function findPlaneMotions(
  source: CoarseModel,
  target: CoarseModel,
  matches: FeatureMatches,
  rate: (motion: Motion) => number,
  limit: number,
): Motion[] {
  const sourcePlanes = findCoarsePlanes(source.surface);
  const targetPlanes = findCoarsePlanes(target.surface);
  if (sourcePlanes.length < 2 || targetPlanes.length < 2) return [];
  const rated: { motion: Motion; score: number }[] = [];
  for (const rotation of rotationsOfPlanes(sourcePlanes, targetPlanes)) {
    const shifts: number[][] = [];
    for (const shift of [
      ...shiftsOfMatches(rotation, source.surface, target.surface, matches),
      ...shiftsOfPlanes(rotation, sourcePlanes, targetPlanes),
    ]) {
      const isKnown = shifts.some(
        (other) => Math.hypot(other[0] - shift[0], other[1] - shift[1], other[2] - shift[2]) < 2 * source.spacing,
      );
      if (!isKnown) shifts.push(shift);
      if (shifts.length === 120) break;
    }
    for (const shift of shifts) {
      const motion = Float64Array.from(rotation);
      for (let r = 0; r < 3; r++) motion[4 * r + 3] = shift[r];
      rated.push({ motion, score: rate(motion) });
    }
  }
  return rated
    .sort((a, b) => b.score - a.score)
    .slice(0, limit)
    .map((item) => item.motion);
}
