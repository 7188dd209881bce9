import { symmetricEigen } from '../math/index.ts';
import type { LinearLink } from './linear-link.ts';

/** Motions held by less than this share of the best held one are free. */
const FREE_SHARE = 1e-10;

/**
 * How much larger the covariance of an overlap's gradient is than its weight says: tr(W^-1 X) and tr((W^-1 X)^2) over the motions
 * that it holds, X the excess of the covariance over W.
 */
export function excessOfForm(
  link: Pick<LinearLink, 'weight' | 'size'>,
  x: readonly number[],
): { readonly trace: number; readonly square: number } {
  const at = (i: number, j: number): number => link.weight[i * link.size + j] as number;
  // Alike units for the eigenvalues.
  const unit = [0, 1, 2, 3, 4, 5].map((i) => (at(i, i) > 0 ? 1 / Math.sqrt(at(i, i)) : 0));
  const scaled = Array.from({ length: 36 }, (_, k) => {
    const [i, j] = [Math.floor(k / 6), k % 6];
    return at(i, j) * unit[i] * unit[j];
  });
  const { values, vectors } = symmetricEigen(scaled, 6);
  const held = [0, 1, 2, 3, 4, 5].filter((e) => values[e] > FREE_SHARE * values[5]);
  // X in the held motions, each scaled to weight one.
  const basis = held.map((e) =>
    Float64Array.from({ length: 6 }, (_, i) => (unit[i] * vectors[6 * i + e]) / Math.sqrt(values[e])),
  );
  let trace = 0;
  let square = 0;
  for (const [a, p] of basis.entries()) {
    for (const [b, q] of basis.entries()) {
      let sum = 0;
      for (let i = 0; i < 6; i++) for (let j = 0; j < 6; j++) sum += p[i] * (x[6 * i + j] as number) * q[j];
      if (a === b) trace += sum;
      square += sum * sum;
    }
  }
  return { trace, square };
}
