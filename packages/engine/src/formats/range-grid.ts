import { normalize, symmetricEigen, type Vec3 } from '../math/index.ts';
import { FaceCollector } from './face-collector.ts';
import type { ReadFindings } from './raw-scan.ts';

/** Edges up to this many lateral spacings (a surface seen at up to 66 degrees from its normal) are always surface. */
const SURE_LENGTH = 2.5;
/** Edges beyond this many (78 degrees) are never surface: no instrument measures there. */
const LONGEST_LENGTH = 5;
/** Share of triangles that must be seen from the front along a view direction; noise turns a few at grazing places. */
const FRONT_SHARE = 0.995;
/** Variance along the view direction over the next one, above which the edges alone tell the direction. */
const CLEAR_DIRECTION = 4;

/**
 * Cuts a scan that keeps its sampling grid into triangles and leaves out those that bridge a step in depth.
 *
 * Frames   the file's. Triangles are counter-clockwise for (row, column), (row, column + 1), (row + 1, column) seen
 *          from the instrument, the order in which range grids are written; normals in the file overrule it.
 * Method   Neighbours in the grid lie one lateral spacing apart and differ in depth, so the edges scatter along the view
 *          direction: it is their first principal axis. An edge is surface up to 2.5 lateral spacings; up to 5 only
 *          when the edges before and after it on its grid line are at least half as long, as on a slope seen at a
 *          grazing angle; a step in depth is a long edge between short ones.
 * Limits   one view direction for the whole scan; `viewDirection` is null when less than 99.5 % of the triangles are
 *          seen from the front along it.
 *
 * @param cells vertex of each cell, row by row, -1 where nothing was measured
 * @param info header entries with `num_cols` and `num_rows`
 */
export function triangulateRangeGrid(
  cells: Int32Array,
  info: Readonly<Record<string, string>>,
  positions: Float32Array | Float64Array,
  normals: Float32Array | null,
  findings: ReadFindings,
): { faces: FaceCollector; viewDirection: Vec3 | null } | null {
  const columns = Number(info['num_cols']);
  const rows = Number(info['num_rows']);
  if (!(columns >= 2 && rows >= 2) || columns * rows !== cells.length) {
    findings.add(
      'warning',
      'scan-grid-size-unknown',
      'The sampling grid does not match num_cols and num_rows, so the scan was read as points.',
      'Export the scan with its full header, or as a mesh.',
    );
    return null;
  }
  const grid: Grid = { cells: checkedCells(cells, positions), columns, rows, positions };
  const axis = scatterAxis(grid);
  const alongRow = markSurfaceEdges(grid, 1, axis);
  const alongColumn = markSurfaceEdges(grid, columns, axis);
  const faces = connect(grid, alongRow, alongColumn);
  const viewDirection = orient(faces, positions, normals, axis);
  return { faces, viewDirection };
}

interface Grid {
  readonly cells: Int32Array;
  readonly columns: number;
  readonly rows: number;
  readonly positions: Float32Array | Float64Array;
}

/** Cells that point to no vertex, or to one without coordinates, count as empty. */
function checkedCells(cells: Int32Array, positions: Float32Array | Float64Array): Int32Array {
  return cells.map((vertex) => {
    const at = 3 * vertex;
    if (vertex < 0 || at >= positions.length) return -1;
    return Number.isFinite(positions[at] + positions[at + 1] + positions[at + 2]) ? vertex : -1;
  });
}

/** Whether a cell has a neighbour one step on along a row (step 1) or along a column (step = columns). */
function hasNext(grid: Grid, cell: number, step: number): boolean {
  return step === 1 ? (cell + 1) % grid.columns !== 0 : cell + step < grid.cells.length;
}

/** Calls back with both ends of every edge between measured neighbours. */
function forEachEdge(grid: Grid, step: number, visit: (cell: number, x: number, y: number, z: number) => void): void {
  const { cells, positions } = grid;
  for (let cell = 0; cell < cells.length; cell++) {
    if (cells[cell] < 0 || !hasNext(grid, cell, step) || cells[cell + step] < 0) continue;
    const a = 3 * cells[cell];
    const b = 3 * cells[cell + step];
    visit(cell, positions[b] - positions[a], positions[b + 1] - positions[a + 1], positions[b + 2] - positions[a + 2]);
  }
}

/** First principal axis of the edges' scatter, or null when none stands out (a flat patch). */
function scatterAxis(grid: Grid): Vec3 | null {
  const total = new Float64Array(9);
  for (const step of [1, grid.columns]) {
    let count = 0;
    const sum = [0, 0, 0];
    const products = new Float64Array(9);
    forEachEdge(grid, step, (_, x, y, z) => {
      const edge = [x, y, z];
      count++;
      for (let i = 0; i < 3; i++) {
        sum[i] += edge[i];
        for (let k = 0; k < 3; k++) products[3 * i + k] += edge[i] * edge[k];
      }
    });
    if (count < 3) return null;
    for (let i = 0; i < 3; i++) {
      for (let k = 0; k < 3; k++) total[3 * i + k] += products[3 * i + k] - (sum[i] * sum[k]) / count;
    }
  }
  const { values, vectors } = symmetricEigen(total, 3);
  if (!(values[2] > CLEAR_DIRECTION * values[1])) return null;
  return normalize([vectors[2], vectors[5], vectors[8]]);
}

/** For each cell: whether the edge to its neighbour one step on lies on the surface. */
function markSurfaceEdges(grid: Grid, step: number, axis: Vec3 | null): Uint8Array {
  const cellCount = grid.cells.length;
  const lengths = new Float64Array(cellCount);
  const lateral: number[] = [];
  forEachEdge(grid, step, (cell, x, y, z) => {
    const square = x * x + y * y + z * z;
    lengths[cell] = Math.sqrt(square);
    const depth = axis ? x * axis[0] + y * axis[1] + z * axis[2] : 0;
    lateral.push(Math.sqrt(Math.max(0, square - depth * depth)));
  });
  const marks = new Uint8Array(cellCount);
  if (lateral.length === 0) return marks;
  const spacing = Float64Array.from(lateral).sort()[lateral.length >> 1];
  for (let cell = 0; cell < cellCount; cell++) {
    const length = lengths[cell];
    if (length === 0 || length > LONGEST_LENGTH * spacing) continue;
    if (length > SURE_LENGTH * spacing) {
      const before = cell >= step && hasNext(grid, cell - step, step) ? lengths[cell - step] : 0;
      const after = hasNext(grid, cell, step) ? lengths[cell + step] : 0;
      if (Math.min(before, after) < length / 2) continue;
    }
    marks[cell] = 1;
  }
  return marks;
}

/** Two triangles a full cell, one where a corner is missing; only along edges that lie on the surface. */
function connect(grid: Grid, alongRow: Uint8Array, alongColumn: Uint8Array): FaceCollector {
  const { cells, columns, rows, positions } = grid;
  const faces = new FaceCollector(2 * cells.length);
  const square = (p: number, q: number): number =>
    (positions[3 * p] - positions[3 * q]) ** 2 +
    (positions[3 * p + 1] - positions[3 * q + 1]) ** 2 +
    (positions[3 * p + 2] - positions[3 * q + 2]) ** 2;
  for (let row = 0; row + 1 < rows; row++) {
    for (let column = 0; column + 1 < columns; column++) {
      const cell = row * columns + column;
      const a = cells[cell];
      const b = cells[cell + 1];
      const c = cells[cell + columns];
      const d = cells[cell + columns + 1];
      const ab = alongRow[cell] === 1;
      const cd = alongRow[cell + columns] === 1;
      const ac = alongColumn[cell] === 1;
      const bd = alongColumn[cell + 1] === 1;
      const all = ab && cd && ac && bd;
      // With all four corners the shorter diagonal; otherwise the corner whose two edges are both on the surface.
      const alongAd = all ? square(a, d) < square(b, c) : !((ab && ac) || (bd && cd));
      if (alongAd) {
        if (ac && cd) faces.addTriangle(a, d, c);
        if (ab && bd) faces.addTriangle(a, b, d);
      } else {
        if (ab && ac) faces.addTriangle(a, b, c);
        if (bd && cd) faces.addTriangle(b, d, c);
      }
    }
  }
  return faces;
}

/** Turns the triangles so that file normals agree, and finds the direction from which they are seen from the front. */
function orient(
  faces: FaceCollector,
  positions: Float32Array | Float64Array,
  normals: Float32Array | null,
  axis: Vec3 | null,
): Vec3 | null {
  const triangles = faces.triangles.values;
  const length = faces.triangles.length;
  const faceNormals = new Float64Array(length);
  const sum = [0, 0, 0];
  let agreement = 0;
  for (let i = 0; i < length; i += 3) {
    const normal = unitNormal(positions, triangles[i], triangles[i + 1], triangles[i + 2]);
    for (let k = 0; k < 3; k++) {
      faceNormals[i + k] = normal[k];
      sum[k] += normal[k];
      if (normals) agreement += Math.sign(normals[3 * triangles[i] + k] * normal[k]);
    }
  }
  if (agreement < 0) {
    for (let i = 0; i < length; i += 3) {
      const b = triangles[i + 1];
      triangles[i + 1] = triangles[i + 2];
      triangles[i + 2] = b;
    }
    for (let i = 0; i < length; i++) faceNormals[i] = -faceNormals[i];
    for (let k = 0; k < 3; k++) sum[k] = -sum[k];
  }
  const size = Math.hypot(sum[0], sum[1], sum[2]);
  if (!(size > 0)) return null;
  const mean: Vec3 = [sum[0] / size, sum[1] / size, sum[2] / size];
  const candidates: Vec3[] = [mean];
  if (axis) {
    const sign = axis[0] * mean[0] + axis[1] * mean[1] + axis[2] * mean[2] < 0 ? -1 : 1;
    candidates.unshift([sign * axis[0], sign * axis[1], sign * axis[2]]);
  }
  return candidates.find((direction) => frontShare(faceNormals, direction) >= FRONT_SHARE) ?? null;
}

function unitNormal(positions: Float32Array | Float64Array, a: number, b: number, c: number): Vec3 {
  const ux = positions[3 * b] - positions[3 * a];
  const uy = positions[3 * b + 1] - positions[3 * a + 1];
  const uz = positions[3 * b + 2] - positions[3 * a + 2];
  const vx = positions[3 * c] - positions[3 * a];
  const vy = positions[3 * c + 1] - positions[3 * a + 1];
  const vz = positions[3 * c + 2] - positions[3 * a + 2];
  const x = uy * vz - uz * vy;
  const y = uz * vx - ux * vz;
  const z = ux * vy - uy * vx;
  const length = Math.hypot(x, y, z) || 1;
  return [x / length, y / length, z / length];
}

function frontShare(faceNormals: Float64Array, direction: Vec3): number {
  let front = 0;
  for (let i = 0; i < faceNormals.length; i += 3) {
    const cosine =
      faceNormals[i] * direction[0] + faceNormals[i + 1] * direction[1] + faceNormals[i + 2] * direction[2];
    if (cosine > 0) front++;
  }
  return faceNormals.length === 0 ? 0 : (3 * front) / faceNormals.length;
}
