import {
  type AdviseFrame,
  IDENTITY_POSE,
  type JointCovariance,
  type NetworkAdjustment,
  type PlacedSurface,
  type Vec3,
} from '@lapjoint/engine';

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

/** A box of triangles with a window of `window` mm half size in the middle of its +X face; none for 0. Inward for sign -1. */
export function boxMesh(half: readonly [number, number, number], sign: 1 | -1, window: number): PlacedSurface {
  const positions: number[] = [];
  const triangles: number[] = [];
  const quad = (corners: readonly (readonly number[])[], outward: Vec3): void => {
    const first = positions.length / 3;
    for (const c of corners) positions.push(...c);
    const [a, b, c] = corners as [number[], number[], number[]];
    const [u, v] = [0, 1].map((i) => [0, 1, 2].map((k) => ((i === 0 ? b : c)[k] as number) - (a[k] as number))) as [
      number[],
      number[],
    ];
    const facing = [0, 1, 2].reduce((s, k) => {
      const [i, j] = [(k + 1) % 3, (k + 2) % 3] as [number, number];
      return s + ((u[i] as number) * (v[j] as number) - (u[j] as number) * (v[i] as number)) * (outward[k] as number);
    }, 0);
    const order = facing * sign > 0 ? [0, 1, 2, 0, 2, 3] : [0, 2, 1, 0, 3, 2];
    triangles.push(...order.map((i) => first + i));
  };
  for (let axis = 0; axis < 3; axis++) {
    const [u, v] = [(axis + 1) % 3, (axis + 2) % 3] as [number, number];
    for (const side of [-1, 1]) {
      const normal = [0, 1, 2].map((k) => (k === axis ? side : 0)) as unknown as Vec3;
      const at = (x: number, y: number): number[] => {
        const p = [0, 0, 0];
        p[axis] = side * (half[axis] as number);
        p[u] = x;
        p[v] = y;
        return p;
      };
      const [a, b] = [half[u] as number, half[v] as number];
      const w = axis === 0 && side === 1 ? window : 0;
      if (w === 0) quad([at(-a, -b), at(a, -b), at(a, b), at(-a, b)], normal);
      else {
        quad([at(-a, -b), at(a, -b), at(a, -w), at(-a, -w)], normal);
        quad([at(-a, w), at(a, w), at(a, b), at(-a, b)], normal);
        quad([at(-a, -w), at(-w, -w), at(-w, w), at(-a, w)], normal);
        quad([at(w, -w), at(a, -w), at(a, w), at(w, w)], normal);
      }
    }
  }
  return {
    scan: {
      origin: [0, 0, 0],
      positions: Float32Array.from(positions),
      normals: null,
      triangles: Uint32Array.from(triangles),
    },
    jobFromScan: IDENTITY_POSE,
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
