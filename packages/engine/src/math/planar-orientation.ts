/** Two coordinates. */
export type Vec2 = readonly [number, number];

/** Result of `planarOrientation`: target = scale R(angle) source + t. */
export interface PlanarOrientation {
  /** Turn from source to target, rad, counter-clockwise. */
  readonly angle: number;
  readonly scale: number;
  readonly translation: Vec2;
  readonly residuals: readonly Vec2[];
  readonly sumSquares: number;
}

/**
 * The plane rotation, shift and scale that carry source points onto target points with the least sum of squares.
 *
 * Method   closed form, the two-dimensional case of [Umeyama91]: always a proper rotation, also for mirrored points.
 *
 * @param scaleKind `none` keeps the size, `least-squares` also fits one scale
 * @throws RangeError when the counts differ or are below two, or all source points are one place
 */
export function planarOrientation(
  source: readonly Vec2[],
  target: readonly Vec2[],
  scaleKind: 'none' | 'least-squares' = 'none',
): PlanarOrientation {
  const n = source.length;
  if (n < 2 || target.length !== n)
    throw new RangeError('Source and target need the same number of points, at least two.');
  const mean = (points: readonly Vec2[], k: 0 | 1): number => {
    const first = (points[0] as Vec2)[k];
    return first + points.reduce((sum, p) => sum + (p[k] - first), 0) / n;
  };
  const cx: Vec2 = [mean(source, 0), mean(source, 1)];
  const cy: Vec2 = [mean(target, 0), mean(target, 1)];
  let cosine = 0;
  let sine = 0;
  let square = 0;
  source.forEach((p, i) => {
    const q = target[i] as Vec2;
    const [ax, ay] = [p[0] - cx[0], p[1] - cx[1]];
    const [bx, by] = [q[0] - cy[0], q[1] - cy[1]];
    cosine += ax * bx + ay * by;
    sine += ax * by - ay * bx;
    square += ax * ax + ay * ay;
  });
  if (!(square > 0)) throw new RangeError('Points in one place have no direction.');
  const angle = Math.atan2(sine, cosine);
  const scale = scaleKind === 'none' ? 1 : Math.hypot(sine, cosine) / square;
  const c = Math.cos(angle) * scale;
  const s = Math.sin(angle) * scale;
  const translation: Vec2 = [cy[0] - c * cx[0] + s * cx[1], cy[1] - s * cx[0] - c * cx[1]];
  let sumSquares = 0;
  const residuals = source.map((p, i): Vec2 => {
    const q = target[i] as Vec2;
    const [ax, ay] = [p[0] - cx[0], p[1] - cx[1]];
    const r: Vec2 = [q[0] - cy[0] - (c * ax - s * ay), q[1] - cy[1] - (s * ax + c * ay)];
    sumSquares += r[0] * r[0] + r[1] * r[1];
    return r;
  });
  return { angle, scale, translation, residuals, sumSquares };
}
