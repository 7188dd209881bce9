import { describe, expect, it } from 'vitest';
import { type CellLoops, type CrossingSource, makeCellLoops, traceCellLoops } from '../../src/fuse/cell-loops.ts';

const STRIDES = [1, 2, 4] as const;

/** One cell whose eight corners are inside (bit set) or outside, with one crossing on every edge that changes sign. */
function cellOf(signs: number): CrossingSource & { readonly total: number } {
  const first = new Int32Array(24).fill(-1);
  const counts = new Uint8Array(24);
  const senses: number[] = [];
  const normals: number[][] = [];
  const value = (node: number): number => ((signs >> node) & 1 ? -1 : 1);
  for (let node = 0; node < 8; node++) {
    for (let axis = 0; axis < 3; axis++) {
      if ((node >> axis) & 1) continue;
      const other = node + STRIDES[axis];
      if (value(node) === value(other)) continue;
      first[3 * node + axis] = senses.length;
      counts[3 * node + axis] = 1;
      senses.push(value(other));
      normals.push(gradientAt(value, node, axis));
    }
  }
  return {
    first,
    counts,
    total: senses.length,
    senseOf: (crossing) => senses[crossing],
    writeNormal: (crossing, out, at) => out.set(normals[crossing], at),
  };
}

/** Gradient of the trilinear interpolation in the middle of an edge: turns with the cell. */
function gradientAt(value: (node: number) => number, node: number, axis: number): number[] {
  const gradient = [0, 0, 0];
  for (const end of [node, node + STRIDES[axis]]) {
    for (let a = 0; a < 3; a++) {
      const across = end ^ STRIDES[a];
      gradient[a] += ((end >> a) & 1 ? 1 : -1) * (value(end) - value(across));
    }
  }
  const length = Math.hypot(...gradient) || 1;
  return gradient.map((g) => g / length);
}

function loopsOf(signs: number): CellLoops & { total: number } {
  const source = cellOf(signs);
  const loops = makeCellLoops();
  traceCellLoops(source, 0, STRIDES, loops);
  return { ...loops, total: source.total };
}

/** The 24 rotations of the cube as permutations of its corners. */
function cubeRotations(): number[][] {
  const turn = (x: number, y: number, z: number): number => x + 2 * y + 4 * z;
  const about = (axis: number) =>
    Array.from({ length: 8 }, (_, n) => {
      const p = [n & 1, (n >> 1) & 1, (n >> 2) & 1];
      const q = [...p];
      q[(axis + 1) % 3] = 1 - p[(axis + 2) % 3];
      q[(axis + 2) % 3] = p[(axis + 1) % 3];
      return turn(q[0], q[1], q[2]);
    });
  const generators = [about(0), about(1), about(2)];
  const seen = new Map<string, number[]>();
  const queue = [Array.from({ length: 8 }, (_, n) => n)];
  for (let at = queue.pop(); at; at = queue.pop()) {
    if (seen.has(at.join())) continue;
    seen.set(at.join(), at);
    for (const g of generators) queue.push(at.map((n) => g[n]));
  }
  return [...seen.values()];
}

const ROTATIONS = cubeRotations();
const rotated = (signs: number, rotation: number[]): number =>
  rotation.reduce((sum, to, from) => sum | (((signs >> from) & 1) << to), 0);

function classOf(signs: number, isComplementSame: boolean): number {
  const all = ROTATIONS.map((rotation) => rotated(signs, rotation));
  if (isComplementSame) for (const turned of [...all]) all.push(255 - turned);
  return Math.min(...all);
}

describe('loops of a cell (marching cubes cases, Lorensen & Cline 1987)', () => {
  it('are closed and use every crossing once in all 256 cases', () => {
    for (let signs = 0; signs < 256; signs++) {
      const cell = loopsOf(signs);
      expect(cell.count).toBe(cell.total);
      expect(cell.loopCount > 0).toBe(signs !== 0 && signs !== 255);
      for (let loop = 0; loop < cell.loopCount; loop++) {
        expect(cell.closed[loop]).toBe(1);
        // A loop on the faces of a cube has at least three crossings.
        expect(cell.loops.slice(0, cell.count).filter((of) => of === loop).length).toBeGreaterThanOrEqual(3);
      }
      for (let n = 0; n < cell.count; n++) {
        expect(cell.links[2 * n]).toBeGreaterThanOrEqual(0);
        expect(cell.links[2 * n + 1]).toBeGreaterThanOrEqual(0);
      }
    }
  });

  it('fall into 23 classes under rotation and 15 under rotation and sign exchange', () => {
    expect(ROTATIONS.length).toBe(24);
    const all = Array.from({ length: 256 }, (_, signs) => signs);
    expect(new Set(all.map((signs) => classOf(signs, false))).size).toBe(23);
    expect(new Set(all.map((signs) => classOf(signs, true))).size).toBe(15);
  });

  it('are the same for all members of a class, whatever the orientation of the cell', () => {
    const signature = (signs: number): string => {
      const cell = loopsOf(signs);
      const lengths = Array.from(
        { length: cell.loopCount },
        (_, loop) => cell.loops.slice(0, cell.count).filter((of) => of === loop).length,
      );
      return lengths.sort((a, b) => a - b).join();
    };
    const isAmbiguous = (signs: number): boolean => {
      const at = (n: number): number => (signs >> n) & 1;
      return [0, 1, 2].some((axis) => {
        const [u, v, w] = [STRIDES[(axis + 1) % 3], STRIDES[(axis + 2) % 3], STRIDES[axis]];
        return [0, w].some(
          (base) => at(base) === at(base + u + v) && at(base + u) === at(base + v) && at(base) !== at(base + u),
        );
      });
    };
    const plain = Array.from({ length: 256 }, (_, signs) => signs).filter((signs) => !isAmbiguous(signs));
    const found = new Map<number, Set<string>>();
    for (const signs of plain) {
      const key = classOf(signs, true);
      found.set(key, (found.get(key) ?? new Set()).add(signature(signs)));
    }
    for (const signatures of found.values()) expect(signatures.size).toBe(1);
    // Lorensen & Cline's cases without an ambiguous face: 0, 1, 2, 4, 5, 8, 9, 11, 14.
    expect(found.size).toBe(9);
  });
});
