/** A number and, after it, its derivatives: exact differentiation of products (Clifford 1873). */
export type Dual = Float64Array;
/** Three of them. */
export type DualVector = readonly [Dual, Dual, Dual];

/** A number that does not change; `length` counts itself and the derivatives. */
export function constant(value: number, length: number): Dual {
  const d = new Float64Array(length);
  d[0] = value;
  return d;
}

/** a - b. */
export function minus(a: Dual, b: Dual): Dual {
  return a.map((value, i) => value - b[i]);
}

/** a b, by the product rule. */
export function times(a: Dual, b: Dual): Dual {
  const out = a.map((value, i) => value * b[0] + a[0] * b[i]);
  out[0] = a[0] * b[0];
  return out;
}

/** a - b. */
export function dualSubtract(a: DualVector, b: DualVector): DualVector {
  return [minus(a[0], b[0]), minus(a[1], b[1]), minus(a[2], b[2])];
}

/** Scalar product. */
export function dualDot(a: DualVector, b: DualVector): Dual {
  const [x, y, z] = [times(a[0], b[0]), times(a[1], b[1]), times(a[2], b[2])];
  return x.map((value, i) => value + y[i] + z[i]);
}

/** A vector times a number. */
export function dualScale(a: DualVector, factor: Dual): DualVector {
  return [times(a[0], factor), times(a[1], factor), times(a[2], factor)];
}
