import { type CellLoops, makeCellLoops, traceCellLoops } from './cell-loops.ts';
import { EdgeCrossings } from './edge-crossings.ts';
import type { FusionTileInput } from './fusion-tile.ts';
import { GrowingNumbers } from './growing-numbers.ts';
import { LocalFit } from './local-fit.ts';
import { NodeField } from './node-field.ts';
import { SampleBins } from './sample-bins.ts';
import { type TileResult, vertexKey } from './tile-result.ts';
import { VertexBuilder } from './vertex-builder.ts';

/** Numbers of one crossing: edge, sense, place, normal. */
const CROSSING_SIZE = 8;
/** Vertices start this part of the way from the mean of their crossings to the middle of their cell, before they are moved
 *  onto the surface: where the surface runs through a node of the grid, the vertices around it would else be on one spot. */
const CENTER_PULL = 0.25;

/**
 * Fuses the samples of one tile into its piece of the surface.
 *
 * Method   signed distances at the grid's nodes, kept apart by sheet ({@link NodeField}); crossings with the grid's edges,
 *          only where data is near ({@link EdgeCrossings}); loops of crossings in each cell ({@link traceCellLoops}). Every
 *          loop is a vertex, every crossing a quadrangle between the four loops around its edge (the dual of marching cubes,
 *          after Nielson 2004), so that each edge of the mesh is a pair of crossings on one face and has at most two
 *          quadrangles. Vertices are then moved onto the averaged surface.
 * Repeats  bit for bit, whatever the tile's size; a pure function of its argument, may run in a worker.
 */
export function fuseTile(input: FusionTileInput): TileResult {
  const bins = new SampleBins(input);
  const fit = new LocalFit(bins, input.plan);
  const field = new NodeField(input, bins, fit);
  const crossings = new EdgeCrossings(field, bins, fit, input.plan);
  const piece = new TilePiece(input, field, crossings);
  const vertices = new VertexBuilder(input, bins, fit);
  piece.placeVertices(vertices);
  return piece.result(vertices);
}

/** The cells of a tile, their loops, and the quadrangles between them. */
class TilePiece {
  readonly #input: FusionTileInput;
  readonly #field: NodeField;
  readonly #crossings: EdgeCrossings;
  readonly #strides: readonly [number, number, number];
  /** Loop of each crossing in each of the four cells around its edge; a vertex of this tile or -1 - foreign key. */
  readonly #corners: Int32Array;
  readonly #keys: GrowingNumbers = new GrowingNumbers();
  readonly #foreign: GrowingNumbers = new GrowingNumbers();
  /** Mean place and normal of each own loop, and whether the data ends in its cell. */
  readonly #seeds: GrowingNumbers = new GrowingNumbers();

  constructor(input: FusionTileInput, field: NodeField, crossings: EdgeCrossings) {
    this.#input = input;
    this.#field = field;
    this.#crossings = crossings;
    this.#strides = [1, field.size[0], field.size[0] * field.size[1]];
    this.#corners = new Int32Array(4 * crossings.count);
    const active = this.#activeCells();
    const data = crossings.data;
    const source = {
      first: crossings.first,
      counts: crossings.counts,
      senseOf: (crossing: number): number => data.values[CROSSING_SIZE * crossing + 1],
      writeNormal: (crossing: number, out: Float64Array, at: number): void => {
        const from = CROSSING_SIZE * crossing + 5;
        out[at] = data.values[from];
        out[at + 1] = data.values[from + 1];
        out[at + 2] = data.values[from + 2];
      },
    };
    const loops = makeCellLoops();
    const [sx, sy, sz] = field.size;
    for (let k = 0; k < sz - 1; k++) {
      for (let j = 0; j < sy - 1; j++) {
        for (let i = 0; i < sx - 1; i++) {
          const node = (k * sy + j) * sx + i;
          if (active[node] === 0) continue;
          traceCellLoops(source, node, this.#strides, loops);
          this.#nameLoops(loops, i, j, k);
        }
      }
    }
  }

  #activeCells(): Uint8Array {
    const active = new Uint8Array(this.#field.first.length);
    const { values } = this.#crossings.data;
    for (let c = 0; c < this.#crossings.count; c++) {
      const edge = values[CROSSING_SIZE * c];
      const axis = edge % 3;
      const node = (edge - axis) / 3;
      const at = this.#place(node);
      const u = (axis + 1) % 3;
      const v = (axis + 2) % 3;
      for (let side = 0; side < 4; side++) {
        if ((side & 1 && at[u] === 0) || (side & 2 && at[v] === 0)) continue;
        active[node - (side & 1 ? this.#strides[u] : 0) - (side & 2 ? this.#strides[v] : 0)] = 1;
      }
    }
    return active;
  }

  #place(node: number): [number, number, number] {
    const [sx, sy] = this.#field.size;
    return [node % sx, Math.floor(node / sx) % sy, Math.floor(node / (sx * sy))];
  }

  #nameLoops(loops: CellLoops, i: number, j: number, k: number): void {
    const { base } = this.#field;
    const { plan } = this.#input;
    const cell = [i, j, k];
    // Cells of the low margin belong to neighbouring tiles, which come to the same loops.
    const isOwn = i > 0 && j > 0 && k > 0;
    const { values } = this.#crossings.data;
    for (let loop = 0; loop < loops.loopCount; loop++) {
      const key = vertexKey(base[0] + i, base[1] + j, base[2] + k, loop);
      const name = isOwn ? this.#keys.length : -1 - this.#foreign.length;
      (isOwn ? this.#keys : this.#foreign).push(key);
      const sums = [0, 0, 0, 0, 0, 0];
      let count = 0;
      for (let n = 0; n < loops.count; n++) {
        if (loops.loops[n] !== loop) continue;
        const crossing = loops.crossings[n];
        this.#corners[4 * crossing + loops.slots[n]] = name;
        for (let m = 0; m < 6; m++) sums[m] += values[CROSSING_SIZE * crossing + 2 + m];
        count++;
      }
      if (!isOwn) continue;
      const pull = loops.closed[loop] ? CENTER_PULL : 0;
      for (let m = 0; m < 3; m++) {
        const center = plan.gridLow[m] + plan.resolution * (base[m] + cell[m] + 0.5);
        this.#seeds.push((1 - pull) * (sums[m] / count) + pull * center);
      }
      for (let m = 3; m < 6; m++) this.#seeds.push(sums[m]);
      this.#seeds.push(loops.closed[loop] ? 0 : 1);
    }
  }

  placeVertices(vertices: VertexBuilder): void {
    const s = this.#seeds.values;
    for (let n = 0; n < this.#seeds.length; n += 7) {
      vertices.add(s[n], s[n + 1], s[n + 2], s[n + 3], s[n + 4], s[n + 5], s[n + 6] > 0);
    }
  }

  result(vertices: VertexBuilder): TileResult {
    const quads = new GrowingNumbers();
    const quadKeys = new GrowingNumbers();
    const { values } = this.#crossings.data;
    const { base, size } = this.#field;
    let last = -1;
    let repeat = 0;
    for (let c = 0; c < this.#crossings.count; c++) {
      const edge = values[CROSSING_SIZE * c];
      repeat = edge === last ? 1 : 0;
      last = edge;
      const axis = edge % 3;
      const at = this.#place((edge - axis) / 3);
      // Edges of the margins belong to the neighbouring tiles.
      if (at[0] < 1 || at[1] < 1 || at[2] < 1) continue;
      if (at[0] > size[0] - 2 || at[1] > size[1] - 2 || at[2] > size[2] - 2) continue;
      const order = values[CROSSING_SIZE * c + 1] > 0 ? [0, 1, 2, 3] : [3, 2, 1, 0];
      for (const slot of order) quads.push(this.#corners[4 * c + slot]);
      quadKeys.push(vertexKey(base[0] + at[0], base[1] + at[1], base[2] + at[2], 2 * axis + repeat));
    }
    const hasColors = this.#input.colors !== null;
    return {
      index: this.#input.index,
      keys: this.#keys.toArray(),
      positions: vertices.positions.toArray(),
      normals: Float32Array.from(vertices.normals.toArray()),
      colors: hasColors ? Uint8Array.from(vertices.colors.toArray()) : null,
      colored: hasColors ? Uint8Array.from(vertices.colored.toArray()) : null,
      sourceOffsets: Uint32Array.from(vertices.sourceOffsets.toArray()),
      sourceScans: Uint16Array.from(vertices.sourceScans.toArray()),
      sourceShares: Uint8Array.from(vertices.sourceShares.toArray()),
      sigmaNoise: Float32Array.from(vertices.sigmaNoise.toArray()),
      sigmaAlignment: Float32Array.from(vertices.sigmaAlignment.toArray()),
      disagreement: Float32Array.from(vertices.disagreement.toArray()),
      severalCount: vertices.severalCount,
      apartCount: vertices.apartCount,
      largestApart: vertices.largestApart,
      quads: Int32Array.from(quads.toArray()),
      quadKeys: quadKeys.toArray(),
      foreignKeys: this.#foreign.toArray(),
    };
  }
}
