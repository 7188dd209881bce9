import type { Observations } from './plane-matching.ts';

/** Cells a cube side: 6 x 3 x 3 cells of about 30 deg. */
const CELLS = 3;

/**
 * Weights that give every direction of the surface an equal say, so that a large floor does not win over the object on it.
 *
 * Method   normal-space sampling (Rusinkiewicz & Levoy 2001) as weights: one over the number of matches in the cell of the
 *          normal, limited to ten times the mean so that a few stray normals do not rule.
 *
 * @param out one weight an observation
 */
export function balanceByNormals(observations: Observations, out: Float64Array): void {
  const { count, normals } = observations;
  const cellOf = new Uint8Array(count);
  const size = new Float64Array(6 * CELLS * CELLS);
  for (let i = 0; i < count; i++) {
    const x = normals[3 * i];
    const y = normals[3 * i + 1];
    const z = normals[3 * i + 2];
    const ax = Math.abs(x);
    const ay = Math.abs(y);
    const az = Math.abs(z);
    let side: number;
    let p: number;
    let q: number;
    if (ax >= ay && ax >= az) [side, p, q] = [x < 0 ? 1 : 0, y / ax, z / ax];
    else if (ay >= az) [side, p, q] = [y < 0 ? 3 : 2, z / ay, x / ay];
    else [side, p, q] = [z < 0 ? 5 : 4, x / az, y / az];
    const column = Math.min(CELLS - 1, Math.floor(((p + 1) / 2) * CELLS));
    const row = Math.min(CELLS - 1, Math.floor(((q + 1) / 2) * CELLS));
    cellOf[i] = (side * CELLS + column) * CELLS + row;
    size[cellOf[i]]++;
  }
  let used = 0;
  for (const n of size) if (n > 0) used++;
  const mean = used > 0 ? count / used : 1;
  for (let i = 0; i < count; i++) out[i] = Math.min(10, mean / size[cellOf[i]]);
}
