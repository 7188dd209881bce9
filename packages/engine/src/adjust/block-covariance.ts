import { addProjected } from './block-products.ts';
import type { LinearPart } from './linear-link.ts';

/** Covariance of two blocks of unknowns, row-major; rotations as lengths at the radius, points in mm, scales relative. */
export type BlockCovariance = (i: number, j: number) => Float64Array;

/** Covariance J C J^T of what depends on blocks through its parts: size x size. */
export function propagateParts(parts: readonly LinearPart[], size: number, covariance: BlockCovariance): Float64Array {
  const out = new Float64Array(size * size);
  for (const p of parts) {
    for (const q of parts)
      addProjected(out, p.jacobian, covariance(p.block, q.block), q.jacobian, size, p.width, q.width);
  }
  return out;
}
