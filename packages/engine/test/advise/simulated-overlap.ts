import {
  choleskyFactor,
  choleskySolve,
  type InstrumentErrors,
  type OverlapObservation,
  type Random,
  type Vec3,
} from '@lapjoint/engine';

/** One overlap of a box's surface, captured by two scanners with known errors; draws what the two surfaces would say. */
export interface SimulatedOverlap {
  /** Drawn anew at each call. */
  readonly draw: (random: Random) => OverlapObservation;
  readonly pointCount: number;
}

/**
 * Points every `pitch` mm over the part of a box within `radius` of a place, errors of both scanners as stated: fields taken
 * at the points, white noise of as many points as lie in a cell. Nothing of the advice is used.
 */
export function simulateOverlap(
  tie: string,
  half: readonly [number, number, number],
  place: Vec3,
  radius: number,
  pitch: number,
  errors: InstrumentErrors,
  spacing: number,
): SimulatedOverlap {
  const points: { at: number[]; normal: number[] }[] = [];
  for (let axis = 0; axis < 3; axis++) {
    const [u, v] = [(axis + 1) % 3, (axis + 2) % 3];
    for (const side of [-1, 1]) {
      for (let x = pitch / 2 - half[u]; x < half[u]; x += pitch) {
        for (let y = pitch / 2 - half[v]; y < half[v]; y += pitch) {
          const at = [0, 0, 0];
          at[axis] = side * half[axis];
          at[u] = x;
          at[v] = y;
          if (Math.hypot(...at.map((c, k) => c - place[k])) > radius) continue;
          const normal = [0, 0, 0];
          normal[axis] = -side;
          points.push({ at, normal });
        }
      }
    }
  }
  const n = points.length;
  const covariance = new Float64Array(n * n);
  for (let i = 0; i < n; i++) {
    for (let j = 0; j < n; j++) {
      const d2 = [0, 1, 2].reduce((s, k) => s + (points[i].at[k] - points[j].at[k]) ** 2, 0);
      let sum = i === j ? errors.white ** 2 / (pitch / spacing) ** 2 : 0;
      for (const { sigma, length } of errors.fields) sum += sigma ** 2 * Math.exp(-d2 / length ** 2);
      covariance[i * n + j] = 2 * sum;
    }
  }
  const factor = choleskyFactor(covariance, n) as Float64Array;
  const jacobian = points.map(({ at, normal: [a, b, c] }) => {
    const [x, y, z] = at.map((v, k) => v - place[k]);
    return [a, b, c, y * c - z * b, z * a - x * c, x * b - y * a];
  });
  const weighed = [0, 1, 2, 3, 4, 5].map((c) =>
    choleskySolve(
      factor,
      n,
      jacobian.map((row) => row[c] as number),
    ),
  );
  const information = weighed.flatMap((_, c) =>
    weighed.map((w) => w.reduce((s, v, i) => s + v * (jacobian[i]?.[c] as number), 0)),
  );
  return {
    pointCount: n,
    draw: (random) => {
      const white = Array.from({ length: n }, () => random.normal());
      const residuals = white.map((_, i) => {
        let sum = 0;
        for (let k = 0; k <= i; k++) sum += factor[i * n + k] * (white[k] as number);
        return sum;
      });
      return {
        kind: 'overlap',
        tie,
        frameA: 'inside',
        frameB: 'outside',
        scanA: null,
        scanB: null,
        bFromA0: { rotation: [1, 0, 0, 0], translation: [0, 0, 0] },
        reference: place,
        information,
        gradient: weighed.map((w) => w.reduce((s, v, i) => s + v * (residuals[i] as number), 0)),
        sumSquares: white.reduce((s, v) => s + v * v, 0),
        count: n,
        effectiveCount: n,
        sigma: 1,
        largest: 0,
        overlapShare: 0.1,
        weakDirections: [],
        weighed: null,
      };
    },
  };
}
