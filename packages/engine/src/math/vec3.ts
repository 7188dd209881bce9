/** Three coordinates, mm unless said otherwise. */
export type Vec3 = readonly [number, number, number];

/** a + b. */
export function add(a: Vec3, b: Vec3): Vec3 {
  return [a[0] + b[0], a[1] + b[1], a[2] + b[2]];
}

/** a - b. */
export function subtract(a: Vec3, b: Vec3): Vec3 {
  return [a[0] - b[0], a[1] - b[1], a[2] - b[2]];
}

/** a times a number. */
export function scale(a: Vec3, factor: number): Vec3 {
  return [a[0] * factor, a[1] * factor, a[2] * factor];
}

/** Scalar product. */
export function dot(a: Vec3, b: Vec3): number {
  return a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
}

/** Vector product. */
export function cross(a: Vec3, b: Vec3): Vec3 {
  return [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]];
}

/** Length without overflow. */
export function norm(a: Vec3): number {
  return Math.hypot(a[0], a[1], a[2]);
}

/** Distance of two points. */
export function distance(a: Vec3, b: Vec3): number {
  return Math.hypot(a[0] - b[0], a[1] - b[1], a[2] - b[2]);
}

/**
 * Unit vector along a.
 *
 * @throws RangeError for the zero vector and for coordinates that are no numbers
 */
export function normalize(a: Vec3): Vec3 {
  const length = norm(a);
  if (!(length > 0 && Number.isFinite(length)))
    throw new RangeError('A vector without direction cannot be normalised.');
  return [a[0] / length, a[1] / length, a[2] / length];
}
