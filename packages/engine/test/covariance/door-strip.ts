import type { PatchedOverlap } from '../../src/covariance/patched-overlap.ts';
import { IDENTITY_POSE, makeCorrelatedField, makeRandom } from '../../src/index.ts';

/** Points of a strip 60 mm wide around an opening of 600 x 400 mm: half of it the face, half the reveal. */
export interface Strip {
  readonly count: number;
  readonly places: Float64Array;
  readonly normals: Float64Array;
  readonly cellOf: Int32Array;
  readonly cellCount: number;
}

const [WIDTH, HEIGHT] = [600, 400];

export function doorStrip(step: number, cell: number): Strip {
  const places: number[] = [];
  const normals: number[] = [];
  const put = (x: number, y: number, z: number, nx: number, ny: number, nz: number): void => {
    places.push(x, y, z);
    normals.push(nx, ny, nz);
  };
  for (let x = -60; x <= WIDTH + 60; x += step) {
    for (let y = -60; y <= HEIGHT + 60; y += step) {
      const outside = Math.max(-x, x - WIDTH, -y, y - HEIGHT);
      if (outside < 0) continue;
      if (outside > 30) put(x, y, 0, 0, 0, 1);
      else if (outside === -x) put(-30, y, outside - 30, 1, 0, 0);
      else if (outside === x - WIDTH) put(WIDTH + 30, y, outside - 30, -1, 0, 0);
      else if (outside === -y) put(x, -30, outside - 30, 0, 1, 0);
      else put(x, HEIGHT + 30, outside - 30, 0, -1, 0);
    }
  }
  const count = places.length / 3;
  const cells = new Map<string, number>();
  const cellOf = new Int32Array(count);
  for (let i = 0; i < count; i++) {
    const key = [
      ...places.slice(3 * i, 3 * i + 3).map((v) => Math.floor(v / cell)),
      ...normals.slice(3 * i, 3 * i + 3),
    ].join();
    if (!cells.has(key)) cells.set(key, cells.size);
    cellOf[i] = cells.get(key) as number;
  }
  return {
    count,
    places: Float64Array.from(places),
    normals: Float64Array.from(normals),
    cellOf,
    cellCount: cells.size,
  };
}

/** Errors of one scan along the normals: half of the variance white, half with a correlation length. */
export function scanErrors(strip: Strip, sigma: number, length: number, name: string): Float64Array {
  const random = makeRandom(1, `${name}/white`);
  const errors = Float64Array.from({ length: strip.count }, () => Math.SQRT1_2 * sigma * random.normal());
  makeCorrelatedField({ sigma: Math.SQRT1_2 * sigma, length, shape: 'gaussian' }, makeRandom(1, `${name}/field`)).addTo(
    strip.places,
    errors,
  );
  return errors;
}

/** The overlap of two scans with these errors, measured at the true pose. */
export function overlapOfErrors(
  strip: Strip,
  ids: readonly [string, string],
  errorsA: Float64Array,
  errorsB: Float64Array,
  sigma: number,
): PatchedOverlap {
  const n = strip.cellCount;
  const reference = [WIDTH / 2, HEIGHT / 2, 0] as const;
  const weights = new Float64Array(n);
  const places = new Float64Array(3 * n);
  const squares = new Float64Array(n);
  const spreads = new Float64Array(n);
  const jacobians = new Float64Array(6 * n);
  const residuals = new Float64Array(n);
  for (let i = 0; i < strip.count; i++) {
    const c = strip.cellOf[i];
    const p = strip.places.subarray(3 * i, 3 * i + 3);
    const m = strip.normals.subarray(3 * i, 3 * i + 3);
    const q = p.map((v, a) => v - reference[a]);
    weights[c]++;
    residuals[c] += errorsA[i] - errorsB[i];
    const turn = [q[1] * m[2] - q[2] * m[1], q[2] * m[0] - q[0] * m[2], q[0] * m[1] - q[1] * m[0]];
    for (let a = 0; a < 3; a++) {
      places[3 * c + a] += p[a];
      squares[c] += p[a] * p[a];
      jacobians[6 * c + a] += m[a];
      jacobians[6 * c + 3 + a] += turn[a];
    }
  }
  for (let c = 0; c < n; c++) {
    residuals[c] /= weights[c];
    let mean = 0;
    for (let a = 0; a < 3; a++) {
      places[3 * c + a] /= weights[c];
      mean += places[3 * c + a] ** 2;
    }
    for (let a = 0; a < 6; a++) jacobians[6 * c + a] /= weights[c];
    spreads[c] = Math.sqrt(Math.max(0, squares[c] / weights[c] - mean) / 2);
  }
  const scan = (id: string) => ({ id, instrument: 'scanner', noise: sigma, spacing: 6, reach: 200, volumetric: 0 });
  return {
    tie: `${ids[0]}-${ids[1]}`,
    scanA: scan(ids[0]),
    scanB: scan(ids[1]),
    bFromA0: IDENTITY_POSE,
    reference,
    patches: { count: n, weights, places, spreads, jacobians, residuals },
    smoothing: 0,
  };
}
