import { makeRandom } from '@lapjoint/engine';
import { inverse, Matrix } from 'ml-matrix';
import { describe, expect, it } from 'vitest';
import { BlockCholesky } from '../../src/adjust/block-cholesky.ts';
import { BlockMatrix } from '../../src/adjust/block-matrix.ts';

/** Random network: blocks tied by three to six rows each, and every block with rows of its own when `held`. */
function makeBlocks(seed: number, count: number, ties: readonly (readonly [number, number])[], held: boolean) {
  const random = makeRandom(seed, 'blocks');
  const sparse = new BlockMatrix(new Array<number>(count).fill(6));
  const dense = Matrix.zeros(6 * count, 6 * count);
  const rows = (n: number): Float64Array => Float64Array.from({ length: 6 * n }, () => random.normal());
  const add = (sides: readonly { block: number; jacobian: Float64Array }[], n: number): void => {
    const weight = Float64Array.from({ length: n * n }, (_, k) => (k % (n + 1) === 0 ? 0.5 + random.uniform() : 0));
    for (const s of sides) {
      for (const o of sides) {
        if (o.block <= s.block) sparse.addProduct(s.block, o.block, s.jacobian, weight, o.jacobian, n, 2);
        for (let i = 0; i < 6; i++) {
          for (let j = 0; j < 6; j++) {
            let sum = 0;
            for (let k = 0; k < n; k++) sum += 2 * s.jacobian[6 * k + i]! * weight[k * n + k]! * o.jacobian[6 * k + j]!;
            const [r, c] = [6 * s.block + i, 6 * o.block + j];
            dense.set(r, c, dense.get(r, c) + sum);
          }
        }
      }
    }
  };
  for (const [a, b] of ties) {
    const n = 6;
    const jacobian = rows(n);
    // A difference: moving both alike changes nothing, so that the whole is free unless something else holds it.
    add(
      [
        { block: a, jacobian },
        { block: b, jacobian: jacobian.map((v) => -v) },
      ],
      n,
    );
  }
  if (held) for (let i = 0; i < count; i++) add([{ block: i, jacobian: rows(6) }], 6);
  return { sparse, dense };
}

const ring = (n: number): [number, number][] => Array.from({ length: n }, (_, i) => [i, (i + 1) % n]);

describe('block Cholesky factor', () => {
  for (const [name, count, ties] of [
    ['one block', 1, []],
    ['a chain', 7, ring(7).slice(0, 6)],
    ['a ring', 9, ring(9)],
    [
      'a star',
      8,
      ring(8)
        .map((_, i) => [0, i] as [number, number])
        .slice(1),
    ],
    [
      'all with all',
      6,
      ring(6).flatMap((_, i) =>
        ring(6)
          .slice(i + 1)
          .map(([j]) => [i, j] as [number, number]),
      ),
    ],
  ] as [string, number, [number, number][]][]) {
    it(`solves and inverts ${name} as a dense matrix does`, () => {
      const { sparse, dense } = makeBlocks(3, count, ties, true);
      const factor = new BlockCholesky(sparse);
      expect(factor.freeDirections).toEqual([]);
      const expected = inverse(dense);
      const size = Math.max(...expected.to1DArray().map(Math.abs));
      for (let i = 0; i < count; i++) {
        for (let j = 0; j < count; j++) {
          factor.inverseBlock(i, j).forEach((v, k) => {
            expect(Math.abs(v - expected.get(6 * i + Math.floor(k / 6), 6 * j + (k % 6)))).toBeLessThan(1e-9 * size);
          });
        }
      }
      const b = Float64Array.from({ length: 6 * count }, (_, k) => Math.sin(k));
      const x = factor.solve(b);
      dense
        .mmul(Matrix.columnVector([...x]))
        .to1DArray()
        .forEach((v, k) => {
          expect(Math.abs(v - b[k]!)).toBeLessThan(1e-9);
        });
    });
  }

  it('reports the free directions of a network that nothing holds: six, the same for all blocks', () => {
    const { sparse, dense } = makeBlocks(4, 5, ring(5), false);
    const factor = new BlockCholesky(sparse);
    expect(factor.freeDirections.length).toBe(6);
    const size = Math.max(...dense.to1DArray().map(Math.abs));
    for (const { motion } of factor.freeDirections) {
      dense
        .mmul(Matrix.columnVector([...motion]))
        .to1DArray()
        .forEach((v) => {
          expect(Math.abs(v)).toBeLessThan(1e-9 * size);
        });
      for (let block = 1; block < 5; block++) {
        for (let k = 0; k < 6; k++) expect(motion[6 * block + k]).toBeCloseTo(motion[k]!, 8);
      }
    }
  });
});
