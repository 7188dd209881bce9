import { fieldCorrelation } from '../covariance/index.ts';
import { choleskyFactor, cross, dot, normalize, subtract, type Vec3 } from '../math/index.ts';
import type { InstrumentErrors } from '../model/index.ts';
import type { AdviseFrame } from './advice.ts';
import { MOTION } from './joint-state.ts';

/** Errors of one side of an overlap. */
export interface PatchSide {
  readonly errors: InstrumentErrors;
  readonly spacing: number;
}

/** Rings of cells about the middle one: 37 cells are enough, information saturates. */
const RINGS = 3;

/**
 * What a patch of common surface says about the motion between two frames, before it is captured.
 *
 * Form     7 x 7 information about `place` of the difference of the two frames' motions: rows [n, (p - place) x n, -n . (p - place)].
 * Method   a hexagonal pattern of cells over a disc, each laid on the tangent plane of the nearest sample; generalised least
 *          squares on the cells' means with the errors of both instruments: an independent part, less by the number of
 *          points, and fields that hang together over the surface.
 *
 * @returns null where fewer than three cells lie on the surface
 */
export function patchInformation(
  frame: AdviseFrame,
  place: Vec3,
  radius: number,
  sides: readonly PatchSide[],
): Float64Array | null {
  const cells = layCells(frame, place, radius);
  const n = cells.length;
  if (n < RINGS) return null;
  const area = (Math.PI * radius * radius) / (1 + 3 * RINGS * (RINGS + 1));
  const spread = Math.sqrt(area / 12);
  const covariance = new Float64Array(n * n);
  for (const { errors, spacing } of sides) {
    const points = Math.max(1, area / (spacing * spacing));
    for (let i = 0; i < n; i++) {
      covariance[i * n + i] += (errors.white * errors.white) / points;
      for (let j = 0; j <= i; j++) {
        const d = subtract(cells[i].at, cells[j].at);
        for (const { sigma, length } of errors.fields)
          covariance[i * n + j] += sigma * sigma * fieldCorrelation(dot(d, d), spread, spread, length);
      }
    }
  }
  const factor = choleskyFactor(covariance, n);
  if (factor === null) return null;
  const white = new Float64Array(n * MOTION);
  cells.forEach(({ at, normal }, i) => {
    const arm = subtract(at, place);
    white.set([...normal, ...cross(arm, normal), -dot(normal, arm)], MOTION * i);
    for (let k = 0; k < i; k++)
      for (let c = 0; c < MOTION; c++) white[MOTION * i + c] -= factor[i * n + k] * white[MOTION * k + c];
    for (let c = 0; c < MOTION; c++) white[MOTION * i + c] /= factor[i * n + i];
  });
  const information = new Float64Array(MOTION * MOTION);
  for (let i = 0; i < n; i++)
    for (let c = 0; c < MOTION; c++)
      for (let d = 0; d < MOTION; d++) information[MOTION * c + d] += white[MOTION * i + c] * white[MOTION * i + d];
  return information;
}

interface Cell {
  readonly at: Vec3;
  readonly normal: Vec3;
}

function layCells(frame: AdviseFrame, place: Vec3, radius: number): Cell[] {
  const near: number[] = [];
  for (let i = 0; i < frame.places.length; i += 3) {
    const d = [0, 1, 2].map((k) => frame.places[i + k] - place[k]) as unknown as Vec3;
    if (dot(d, d) <= 4 * radius * radius) near.push(i);
  }
  const middle = nearest(frame, near, place);
  if (middle === null) return [];
  const up = normalOf(frame, middle.sample);
  const helper: Vec3 = Math.abs(up[0]) < 0.6 ? [1, 0, 0] : [0, 1, 0];
  const u = normalize(cross(up, helper));
  const v = cross(up, u);
  const pitch = radius / (RINGS + 0.5);
  const cells: Cell[] = [];
  for (let a = -RINGS; a <= RINGS; a++) {
    for (let b = -RINGS; b <= RINGS; b++) {
      if (Math.abs(a + b) > RINGS) continue;
      const [x, y] = [pitch * (a + b / 2), pitch * b * Math.sqrt(0.75)];
      const wish = [0, 1, 2].map((k) => place[k] + x * u[k] + y * v[k]) as unknown as Vec3;
      const own = nearest(frame, near, wish);
      // Beyond the border of the surface there is nothing to capture.
      if (own === null || own.distance > radius) continue;
      const normal = normalOf(frame, own.sample);
      const sample: Vec3 = [frame.places[own.sample], frame.places[own.sample + 1], frame.places[own.sample + 2]];
      const height = dot(subtract(wish, sample), normal);
      cells.push({ at: [0, 1, 2].map((k) => wish[k] - height * normal[k]) as unknown as Vec3, normal });
    }
  }
  return cells;
}

function normalOf(frame: AdviseFrame, sample: number): Vec3 {
  return [frame.normals[sample], frame.normals[sample + 1], frame.normals[sample + 2]];
}

function nearest(
  frame: AdviseFrame,
  among: readonly number[],
  place: Vec3,
): { readonly sample: number; readonly distance: number } | null {
  let best = -1;
  let least = Number.POSITIVE_INFINITY;
  for (const i of among) {
    const x = frame.places[i] - place[0];
    const y = frame.places[i + 1] - place[1];
    const z = frame.places[i + 2] - place[2];
    const square = x * x + y * y + z * z;
    if (square < least) {
      least = square;
      best = i;
    }
  }
  return best < 0 ? null : { sample: best, distance: Math.sqrt(least) };
}
