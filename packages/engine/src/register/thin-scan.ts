import type { PreparedScan } from './prepared-scan.ts';

/**
 * Chooses points of a prepared scan that lie at least a given distance apart, as densely as that allows.
 *
 * Method   greedy maximal set over a cell grid; points are offered by their distance from the centroid, the farthest first,
 *          which does not depend on the order in the file nor (but for rounding) on how the scan is turned.
 * Cost     linear in the points.
 *
 * @param spacing mm; not positive keeps all points
 * @returns numbers of the chosen points, ascending
 */
export function choosePointsApart(scan: Pick<PreparedScan, 'positions' | 'centroid'>, spacing: number): Uint32Array {
  const { positions, centroid } = scan;
  const pointCount = positions.length / 3;
  if (!(spacing > 0)) return Uint32Array.from({ length: pointCount }, (_, i) => i);
  const distances = new Float64Array(pointCount);
  const order = new Uint32Array(pointCount);
  for (let i = 0; i < pointCount; i++) {
    const x = positions[3 * i] - centroid[0];
    const y = positions[3 * i + 1] - centroid[1];
    const z = positions[3 * i + 2] - centroid[2];
    distances[i] = Math.sqrt(x * x + y * y + z * z);
    order[i] = i;
  }
  order.sort((i, j) => distances[j] - distances[i] || i - j);
  const bits = Math.max(4, Math.ceil(Math.log2(pointCount + 1)) + 1);
  const table = new Int32Array(2 ** bits).fill(-1);
  const next = new Int32Array(pointCount).fill(-1);
  const mask = table.length - 1;
  const slot = (x: number, y: number, z: number): number =>
    (Math.imul(x, 73856093) ^ Math.imul(y, 19349663) ^ Math.imul(z, 83492791)) & mask;
  const limit = spacing * spacing;
  const kept: number[] = [];
  for (const i of order) {
    const px = positions[3 * i];
    const py = positions[3 * i + 1];
    const pz = positions[3 * i + 2];
    const cx = Math.floor((px - centroid[0]) / spacing);
    const cy = Math.floor((py - centroid[1]) / spacing);
    const cz = Math.floor((pz - centroid[2]) / spacing);
    let free = true;
    for (let dx = -1; dx <= 1 && free; dx++) {
      for (let dy = -1; dy <= 1 && free; dy++) {
        for (let dz = -1; dz <= 1 && free; dz++) {
          for (let j = table[slot(cx + dx, cy + dy, cz + dz)]; j >= 0; j = next[j]) {
            const x = positions[3 * j] - px;
            const y = positions[3 * j + 1] - py;
            const z = positions[3 * j + 2] - pz;
            if (x * x + y * y + z * z < limit) {
              free = false;
              break;
            }
          }
        }
      }
    }
    if (!free) continue;
    const at = slot(cx, cy, cz);
    next[i] = table[at];
    table[at] = i;
    kept.push(i);
  }
  return Uint32Array.from(kept).sort();
}

/**
 * A prepared scan with fewer points, at least `spacing` apart; normals, noise and borders are those of the full scan.
 * See `choosePointsApart`.
 */
export function thinScan(scan: PreparedScan, spacing: number): PreparedScan {
  return pickPoints(scan, choosePointsApart(scan, spacing), Math.max(spacing, scan.spacing));
}

/** The prepared scan of some of the points, in the order given. */
export function pickPoints(scan: PreparedScan, chosen: Uint32Array, spacing: number): PreparedScan {
  const positions = new Float32Array(3 * chosen.length);
  const normals = new Float32Array(3 * chosen.length);
  const border = new Uint8Array(chosen.length);
  for (let i = 0; i < chosen.length; i++) {
    const at = 3 * chosen[i];
    positions.set(scan.positions.subarray(at, at + 3), 3 * i);
    normals.set(scan.normals.subarray(at, at + 3), 3 * i);
    border[i] = scan.border[chosen[i]];
  }
  return { ...scan, positions, normals, border, spacing };
}
