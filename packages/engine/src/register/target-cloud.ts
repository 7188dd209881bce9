import type { Vec3 } from '../math/index.ts';
import type { Target } from '../model/index.ts';

/** A target list made ready for matching: canonical order, centred, with its mutual distances. mm. */
export interface TargetCloud {
  readonly count: number;
  /** Index into the caller's list of each target, in canonical order. */
  readonly order: readonly number[];
  readonly names: readonly string[];
  readonly centroid: Vec3;
  /** xyz relative to the centroid. */
  readonly points: Float64Array;
  readonly sigma: Float64Array;
  readonly largestSigma: number;
  /** count x count. */
  readonly distances: Float64Array;
  /** Row i: the other targets by distance from i, nearest first, (count - 1) a row. */
  readonly neighbours: Int32Array;
  /** Median distance to the nearest other target; the same target measured twice counts once. */
  readonly spacing: number;
}

/** Two targets of a list that are closer than this are one target measured twice: five standard deviations in each. */
export function doubleDistance(sigmaA: number, sigmaB: number): number {
  return 5 * (sigmaA + sigmaB);
}

/**
 * Sorts, centres and measures a target list, so that the answer does not depend on the order in the file.
 *
 * @throws RangeError when a coordinate is no number or a sigma is not larger than zero
 */
export function makeTargetCloud(targets: readonly Target[]): TargetCloud {
  const n = targets.length;
  for (const t of targets) {
    if (!t.position.every(Number.isFinite)) throw new RangeError(`Target ${t.name}: a coordinate is no number.`);
    if (!(t.sigma > 0 && Number.isFinite(t.sigma))) {
      throw new RangeError(`Target ${t.name}: its standard uncertainty has to be larger than zero.`);
    }
  }
  const compareText = (a: string, b: string): number => (a < b ? -1 : a > b ? 1 : 0);
  const order = targets
    .map((_, i) => i)
    .sort((i, j) => {
      const [a, b] = [targets[i] as Target, targets[j] as Target];
      return (
        a.position[0] - b.position[0] ||
        a.position[1] - b.position[1] ||
        a.position[2] - b.position[2] ||
        a.sigma - b.sigma ||
        compareText(a.name, b.name)
      );
    });
  const sorted = order.map((i) => targets[i] as Target);
  const first = sorted[0]?.position ?? [0, 0, 0];
  const shift = [0, 1, 2].map(
    (k) => sorted.reduce((sum, t) => sum + ((t.position[k] as number) - (first[k] as number)), 0) / Math.max(1, n),
  );
  const points = new Float64Array(3 * n);
  const sigma = new Float64Array(n);
  sorted.forEach((t, i) => {
    for (let k = 0; k < 3; k++)
      points[3 * i + k] = (t.position[k] as number) - (first[k] as number) - (shift[k] as number);
    sigma[i] = t.sigma;
  });
  const distances = new Float64Array(n * n);
  for (let i = 0; i < n; i++) {
    for (let j = 0; j < i; j++) {
      const d = Math.hypot(
        points[3 * i] - points[3 * j],
        points[3 * i + 1] - points[3 * j + 1],
        points[3 * i + 2] - points[3 * j + 2],
      );
      distances[i * n + j] = d;
      distances[j * n + i] = d;
    }
  }
  const neighbours = new Int32Array(n * Math.max(0, n - 1));
  const nearest: number[] = [];
  for (let i = 0; i < n; i++) {
    const others = new Int32Array(Math.max(0, n - 1));
    for (let j = 0, k = 0; j < n; j++) if (j !== i) others[k++] = j;
    others.sort((a, b) => distances[i * n + a] - distances[i * n + b] || a - b);
    neighbours.set(others, i * (n - 1));
    const next = others.find((j) => distances[i * n + j] > doubleDistance(sigma[i], sigma[j]));
    if (next !== undefined) nearest.push(distances[i * n + next]);
  }
  nearest.sort((a, b) => a - b);
  return {
    count: n,
    order,
    names: sorted.map((t) => t.name.trim()),
    centroid: [first[0] + (shift[0] as number), first[1] + (shift[1] as number), first[2] + (shift[2] as number)],
    points,
    sigma,
    largestSigma: sigma.reduce((a, b) => Math.max(a, b), 0),
    distances,
    neighbours,
    spacing: nearest[nearest.length >> 1] ?? 0,
  };
}
