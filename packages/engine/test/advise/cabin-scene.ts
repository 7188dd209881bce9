import type { AdviseFrame, JointCovariance, NetworkAdjustment, Vec3 } from '@lapjoint/engine';

/** Half length, width and height of a closed cabin, mm. */
export const HALF = [1200, 600, 500] as const;

/** Samples every `pitch` mm over a box shifted by `offset`; normals outward, or inward for `sign` -1. */
export function boxFrame(
  frame: string,
  pitch: number,
  half: readonly [number, number, number],
  sign: 1 | -1,
  offset: Vec3 = [0, 0, 0],
): AdviseFrame {
  const places: number[] = [];
  const normals: number[] = [];
  for (let axis = 0; axis < 3; axis++) {
    const [u, v] = [(axis + 1) % 3, (axis + 2) % 3];
    const [nu, nv] = [u, v].map((k) => Math.round((2 * half[k]) / pitch));
    for (const side of [-1, 1]) {
      for (let i = 0; i < nu; i++) {
        for (let j = 0; j < nv; j++) {
          const at = [0, 0, 0];
          at[axis] = side * half[axis];
          at[u] = -half[u] + (i + 0.5) * ((2 * half[u]) / nu);
          at[v] = -half[v] + (j + 0.5) * ((2 * half[v]) / nv);
          const normal = [0, 0, 0];
          normal[axis] = side * sign;
          places.push(...at.map((x, k) => x + offset[k]));
          normals.push(...normal);
        }
      }
    }
  }
  return {
    frame,
    instrument: 'scanner',
    spacing: 0.5,
    places: Float64Array.from(places),
    normals: Float64Array.from(normals),
  };
}

/** The joint covariance of an adjustment, put together from its parts. */
export function jointOf(result: NetworkAdjustment): JointCovariance {
  const frames = result.frames.filter((f) => f.covariance !== null && f.status === 'adjusted');
  const n = 6 * frames.length;
  const matrix = new Float64Array(n * n);
  frames.forEach((a, i) => {
    frames.forEach((b, j) => {
      const block = i === j ? (a.covariance ?? []) : (result.crossCovariance(a.frame, b.frame) ?? []);
      for (let r = 0; r < 6; r++)
        for (let c = 0; c < 6; c++) matrix[(6 * i + r) * n + 6 * j + c] = block[6 * r + c] as number;
    });
  });
  return {
    frames: frames.map((f) => ({ frame: f.frame, reference: f.covarianceReference as Vec3 })),
    terms: [],
    matrix,
  };
}
