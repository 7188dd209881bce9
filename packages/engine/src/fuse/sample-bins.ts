import { type FusionTileInput, TILE_MARGIN } from './fusion-tile.ts';

/**
 * The samples of one tile, sorted into the cells of the grid, and the search around a place.
 *
 * Order    inside a cell by scan, then by coordinates; cells in the order of the grid. A search meets the same samples in
 *          the same order whatever the tile and whatever the order of the input, so that sums have the same bits.
 */
export class SampleBins {
  readonly count: number;
  readonly positions: Float64Array;
  readonly normals: Float64Array;
  readonly areas: Float64Array;
  readonly weights: Float64Array;
  /** Place of each sorted sample in the tile's input. */
  readonly order: Uint32Array;
  /** What the last search found: sample, offset from the place, squared distance. */
  found: Int32Array = new Int32Array(1024);
  offsets: Float64Array = new Float64Array(3 * 1024);
  squares: Float64Array = new Float64Array(1024);
  readonly #starts: Int32Array;
  readonly #low: readonly [number, number, number];
  readonly #size: readonly [number, number, number];
  readonly #gridLow: readonly [number, number, number];
  readonly #inverse: number;

  constructor(input: FusionTileInput) {
    const { plan } = input;
    this.#gridLow = plan.gridLow;
    this.#inverse = 1 / plan.resolution;
    const margin = TILE_MARGIN;
    this.#low = [input.low[0] - margin, input.low[1] - margin, input.low[2] - margin];
    this.#size = [
      input.high[0] - input.low[0] + 2 * margin,
      input.high[1] - input.low[1] + 2 * margin,
      input.high[2] - input.low[2] + 2 * margin,
    ];
    const cells = this.#size[0] * this.#size[1] * this.#size[2];
    const total = input.areas.length;
    const cellOf = new Int32Array(total);
    const starts = new Int32Array(cells + 1);
    let kept = 0;
    for (let i = 0; i < total; i++) {
      cellOf[i] = this.#cellOf(input.positions, i);
      if (cellOf[i] < 0) continue;
      starts[cellOf[i] + 1]++;
      kept++;
    }
    for (let c = 0; c < cells; c++) starts[c + 1] += starts[c];
    const fill = starts.slice(0, cells);
    const order = new Uint32Array(kept);
    for (let i = 0; i < total; i++) if (cellOf[i] >= 0) order[fill[cellOf[i]]++] = i;
    sortInsideCells(order, starts, input);
    this.#starts = starts;
    this.order = order;
    this.count = kept;
    this.positions = new Float64Array(3 * kept);
    this.normals = new Float64Array(3 * kept);
    this.areas = new Float64Array(kept);
    this.weights = new Float64Array(kept);
    for (let n = 0; n < kept; n++) {
      const i = order[n];
      for (let axis = 0; axis < 3; axis++) {
        this.positions[3 * n + axis] = input.positions[3 * i + axis];
        this.normals[3 * n + axis] = input.normals[3 * i + axis];
      }
      this.areas[n] = input.areas[i];
      this.weights[n] = input.weights[i];
    }
  }

  /** Finds the samples within a radius of a place; the result stands in `found`, `offsets` and `squares`. */
  collect(x: number, y: number, z: number, radius: number): number {
    const inverse = this.#inverse;
    const low = this.#low;
    const size = this.#size;
    const grid = this.#gridLow;
    const x0 = Math.max(0, Math.floor((x - radius - grid[0]) * inverse) - low[0]);
    const y0 = Math.max(0, Math.floor((y - radius - grid[1]) * inverse) - low[1]);
    const z0 = Math.max(0, Math.floor((z - radius - grid[2]) * inverse) - low[2]);
    const x1 = Math.min(size[0] - 1, Math.floor((x + radius - grid[0]) * inverse) - low[0]);
    const y1 = Math.min(size[1] - 1, Math.floor((y + radius - grid[1]) * inverse) - low[1]);
    const z1 = Math.min(size[2] - 1, Math.floor((z + radius - grid[2]) * inverse) - low[2]);
    const limit = radius * radius;
    const starts = this.#starts;
    const positions = this.positions;
    let found = this.found;
    let offsets = this.offsets;
    let squares = this.squares;
    let count = 0;
    if (x1 < x0) return 0;
    const cell = 1 / inverse;
    const zLow = grid[2] + cell * low[2] - z;
    const yLow = grid[1] + cell * low[1] - y;
    for (let k = z0; k <= z1; k++) {
      // Least distance of the row of cells; a hair less, so that rounding never hides a sample.
      const zGap = Math.max(0, zLow + cell * k, -(zLow + cell * (k + 1))) * 0.999999;
      for (let j = y0; j <= y1; j++) {
        const yGap = Math.max(0, yLow + cell * j, -(yLow + cell * (j + 1))) * 0.999999;
        if (zGap * zGap + yGap * yGap > limit) continue;
        const row = (k * size[1] + j) * size[0];
        const end = starts[row + x1 + 1];
        for (let i = starts[row + x0]; i < end; i++) {
          const dx = positions[3 * i] - x;
          const dy = positions[3 * i + 1] - y;
          const dz = positions[3 * i + 2] - z;
          const square = dx * dx + dy * dy + dz * dz;
          if (square > limit) continue;
          if (count === found.length) {
            this.#enlarge();
            found = this.found;
            offsets = this.offsets;
            squares = this.squares;
          }
          found[count] = i;
          offsets[3 * count] = dx;
          offsets[3 * count + 1] = dy;
          offsets[3 * count + 2] = dz;
          squares[count] = square;
          count++;
        }
      }
    }
    return count;
  }

  #enlarge(): void {
    const length = 2 * this.found.length;
    const found = new Int32Array(length);
    const offsets = new Float64Array(3 * length);
    const squares = new Float64Array(length);
    found.set(this.found);
    offsets.set(this.offsets);
    squares.set(this.squares);
    this.found = found;
    this.offsets = offsets;
    this.squares = squares;
  }

  #cellOf(positions: Float64Array, i: number): number {
    let index = 0;
    for (let axis = 2; axis >= 0; axis--) {
      const cell = Math.floor((positions[3 * i + axis] - this.#gridLow[axis]) * this.#inverse) - this.#low[axis];
      if (cell < 0 || cell >= this.#size[axis]) return -1;
      index = index * this.#size[axis] + cell;
    }
    return index;
  }
}

function sortInsideCells(order: Uint32Array, starts: Int32Array, input: FusionTileInput): void {
  const p = input.positions;
  const isAfter = (a: number, b: number): boolean => {
    if (input.scans[a] !== input.scans[b]) return input.scans[a] > input.scans[b];
    for (let axis = 0; axis < 3; axis++) {
      if (p[3 * a + axis] !== p[3 * b + axis]) return p[3 * a + axis] > p[3 * b + axis];
    }
    return false;
  };
  for (let c = 0; c + 1 < starts.length; c++) {
    const from = starts[c];
    const end = starts[c + 1];
    for (let n = from + 1; n < end; n++) {
      const moving = order[n];
      let at = n;
      while (at > from && isAfter(order[at - 1], moving)) {
        order[at] = order[at - 1];
        at--;
      }
      order[at] = moving;
    }
  }
}
