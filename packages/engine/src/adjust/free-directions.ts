import { symmetricEigen, type Vec3 } from '../math/index.ts';

const AXES = ['X', 'Y', 'Z'] as const;

/**
 * Says in words how a frame can still move.
 *
 * @param basis unit six-vectors (shifts, then rotations as lengths) that span the motions nothing holds
 * @returns for example `along X`, `about Z`, or `along (0.71, 0.71, 0)`; empty when the basis is
 */
export function describeFreeMotion(basis: readonly ArrayLike<number>[]): string[] {
  const space = orthonormal(basis);
  if (space.length === 6) return ['in any way'];
  const words: string[] = [];
  let left = space;
  // The plain motions first: along and about the axes of the job.
  for (let k = 0; k < 6 && left.length > 0; k++) {
    let inside = 0;
    for (const v of space) inside += (v[k] as number) ** 2;
    // 0.97 of the length: within some 14 degrees.
    if (inside < 0.94) continue;
    words.push(`${k < 3 ? 'along' : 'about'} ${AXES[k % 3]}`);
    left = orthonormal(
      left.map((v) => v.map((value, i) => (i === k ? 0 : value))),
      left.length - 1,
    );
  }
  for (const v of left) words.push(describeVector(v));
  return words;
}

function describeVector(v: Float64Array): string {
  const shift: Vec3 = [v[0], v[1], v[2]];
  const turn: Vec3 = [v[3], v[4], v[5]];
  const turned = Math.hypot(...turn);
  const shifted = Math.hypot(...shift);
  if (turned < 0.25 * shifted) return `along ${describeAxis(shift)}`;
  const along = (shift[0] * turn[0] + shift[1] * turn[1] + shift[2] * turn[2]) / turned;
  const slide = Math.abs(along) > 0.25 * turned ? ', sliding along it' : '';
  return `about an axis along ${describeAxis(turn)}${slide}`;
}

/** `X` when within some 14 degrees of an axis, else its components. */
function describeAxis(v: Vec3): string {
  const length = Math.hypot(...v);
  for (let k = 0; k < 3; k++) if (Math.abs(v[k] as number) > 0.97 * length) return AXES[k] as string;
  const first = v.find((value) => Math.abs(value) > 0.05 * length) ?? 1;
  const sign = first < 0 ? -1 : 1;
  return `(${v.map((value) => Number(((sign * value) / length).toFixed(2)) + 0).join(', ')})`;
}

/** Orthonormal basis of a span, strongest directions first. */
function orthonormal(vectors: readonly ArrayLike<number>[], atMost = 6): Float64Array[] {
  const moments = new Float64Array(36);
  for (const v of vectors) {
    for (let i = 0; i < 6; i++) for (let j = 0; j < 6; j++) moments[6 * i + j] += (v[i] as number) * (v[j] as number);
  }
  const { values, vectors: eigen } = symmetricEigen(moments, 6);
  const out: Float64Array[] = [];
  for (let e = 5; e >= 0 && out.length < atMost; e--) {
    if (!(values[e] > 1e-6 * values[5])) break;
    out.push(Float64Array.from({ length: 6 }, (_, i) => eigen[6 * i + e]));
  }
  return out;
}
