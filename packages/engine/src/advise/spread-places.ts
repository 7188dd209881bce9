import type { Vec3 } from '../math/index.ts';
import type { AdviseFrame } from './advice.ts';

/** Place of sample number i. */
export function placeOf(frame: AdviseFrame, i: number): Vec3 {
  return [frame.places[3 * i], frame.places[3 * i + 1], frame.places[3 * i + 2]];
}

/** Normal of sample number i. */
export function normalAt(frame: AdviseFrame, i: number): Vec3 {
  return [frame.normals[3 * i], frame.normals[3 * i + 1], frame.normals[3 * i + 2]];
}

/** Number of samples. */
export function sampleCountOf(frame: AdviseFrame): number {
  return Math.floor(frame.places.length / 3);
}

/** Middle of all samples, mm. */
export function middleOfFrame(frame: AdviseFrame): Vec3 {
  const n = sampleCountOf(frame);
  const first = placeOf(frame, 0);
  const sum = [0, 0, 0];
  for (let i = 0; i < 3 * n; i++) sum[i % 3] += frame.places[i] - first[i % 3];
  return [first[0] + sum[0] / n, first[1] + sum[1] / n, first[2] + sum[2] / n];
}

/** Sample nearest to a place and its distance, mm. */
export function nearestSample(frame: AdviseFrame, place: Vec3): { readonly sample: number; readonly distance: number } {
  let best = -1;
  let least = Number.POSITIVE_INFINITY;
  for (let i = 0; i < sampleCountOf(frame); i++) {
    const x = frame.places[3 * i] - place[0];
    const y = frame.places[3 * i + 1] - place[1];
    const z = frame.places[3 * i + 2] - place[2];
    const square = x * x + y * y + z * z;
    if (square < least) {
      least = square;
      best = i;
    }
  }
  return { sample: best, distance: Math.sqrt(least) };
}

/**
 * Samples spread over the frame, starting with `first`: always the one furthest from those that are taken already.
 *
 * Method   farthest-point sampling [Gonzalez85]; equal distances: the lower number.
 */
export function spreadSamples(frame: AdviseFrame, first: number, count: number): number[] {
  const n = sampleCountOf(frame);
  const squares = new Float64Array(n).fill(Number.POSITIVE_INFINITY);
  const taken: number[] = [];
  let next = first;
  while (taken.length < Math.min(count, n)) {
    taken.push(next);
    const from = placeOf(frame, next);
    let furthest = -1;
    let largest = 0;
    for (let i = 0; i < n; i++) {
      const x = frame.places[3 * i] - from[0];
      const y = frame.places[3 * i + 1] - from[1];
      const z = frame.places[3 * i + 2] - from[2];
      squares[i] = Math.min(squares[i], x * x + y * y + z * z);
      if (squares[i] > largest) {
        largest = squares[i];
        furthest = i;
      }
    }
    if (furthest < 0) break;
    next = furthest;
  }
  return taken;
}

/** Directions looked into for the outermost samples: their spacing is some 15 degrees. */
const DIRECTION_COUNT = 200;

/**
 * The outermost samples of a frame. A place moves by a linear function of where it is, so the largest uncertainty lies
 * at a corner of the convex hull: no inner sample has to be looked at.
 */
export function outermostSamples(frame: AdviseFrame): number[] {
  const n = sampleCountOf(frame);
  if (n === 0) return [];
  const middle = placeOf(frame, 0);
  const found = new Set<number>();
  for (let k = 0; k < DIRECTION_COUNT; k++) {
    // Even spread over the sphere (Fibonacci lattice).
    const z = 1 - (2 * k + 1) / DIRECTION_COUNT;
    const ring = Math.sqrt(1 - z * z);
    const angle = Math.PI * (3 - Math.sqrt(5)) * k;
    const [dx, dy] = [ring * Math.cos(angle), ring * Math.sin(angle)];
    let best = 0;
    let largest = Number.NEGATIVE_INFINITY;
    for (let i = 0; i < n; i++) {
      const along =
        dx * (frame.places[3 * i] - middle[0]) +
        dy * (frame.places[3 * i + 1] - middle[1]) +
        z * (frame.places[3 * i + 2] - middle[2]);
      if (along > largest) {
        largest = along;
        best = i;
      }
    }
    found.add(best);
  }
  return [...found].sort((a, b) => a - b);
}
