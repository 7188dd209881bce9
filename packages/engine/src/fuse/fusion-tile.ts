import type { FusionPlan } from './fusion-plan.ts';
import type { FusionSamples } from './fusion-samples.ts';

/** Cells around a tile whose samples its nodes and vertices may see. */
export const TILE_MARGIN = 5;

/** One box of cells to fuse. Cells low[axis] up to, not including, high[axis]. */
export interface FusionTile {
  readonly index: number;
  readonly low: readonly [number, number, number];
  readonly high: readonly [number, number, number];
  /** For each entry of the samples list given to {@link cutTiles}: which of its samples the tile needs, ascending. */
  readonly sampleIndices: readonly Uint32Array[];
}

/** All that {@link fuseTile} needs, as plain data that can be handed to a worker. */
export interface FusionTileInput {
  readonly plan: FusionPlan;
  readonly index: number;
  readonly low: readonly [number, number, number];
  readonly high: readonly [number, number, number];
  readonly positions: Float64Array;
  readonly normals: Float32Array;
  readonly areas: Float32Array;
  readonly weights: Float32Array;
  readonly sigmaPose: Float32Array;
  /** Place in the plan's list of scans. */
  readonly scans: Uint16Array;
  /** Noise of each scan of the plan, mm. */
  readonly noises: Float64Array;
  /** 3 bytes a sample; null when no scan has colour. */
  readonly colors: Uint8Array | null;
  /** 1 for each scan of the plan that has colour. */
  readonly coloredScans: Uint8Array;
}

/**
 * Cuts the grid into tiles that hold samples, with the samples of their margins.
 *
 * The tiles' size changes how the work is divided, never its result.
 */
export function cutTiles(plan: FusionPlan, samples: readonly FusionSamples[]): FusionTile[] {
  const size = plan.tileCells;
  const counts = plan.cellCounts.map((count) => Math.ceil(count / size));
  const inverse = 1 / plan.resolution;
  // One cell wider than the margin: a sample on the edge of a cell belongs to both sides.
  const reach = TILE_MARGIN;
  const totals = new Map<number, Int32Array>();
  const visit = (
    set: FusionSamples,
    slot: number,
    take: (tile: number, sample: number, slot: number) => void,
  ): void => {
    const p = set.positions;
    const range = [0, 0, 0, 0, 0, 0];
    for (let i = 0; i < set.areas.length; i++) {
      for (let axis = 0; axis < 3; axis++) {
        const cell = Math.floor((p[3 * i + axis] - plan.gridLow[axis]) * inverse);
        range[2 * axis] = Math.max(0, Math.floor((cell - reach) / size));
        range[2 * axis + 1] = Math.min(counts[axis] - 1, Math.floor((cell + reach) / size));
      }
      for (let z = range[4]; z <= range[5]; z++) {
        for (let y = range[2]; y <= range[3]; y++) {
          for (let x = range[0]; x <= range[1]; x++) take((z * counts[1] + y) * counts[0] + x, i, slot);
        }
      }
    }
  };
  samples.forEach((set, slot) => {
    visit(set, slot, (tile) => {
      let total = totals.get(tile);
      if (!total) {
        total = new Int32Array(samples.length);
        totals.set(tile, total);
      }
      total[slot]++;
    });
  });
  const lists = new Map<number, Uint32Array[]>();
  for (const [tile, total] of totals) {
    lists.set(
      tile,
      Array.from(total, (count) => new Uint32Array(count)),
    );
    total.fill(0);
  }
  samples.forEach((set, slot) => {
    visit(set, slot, (tile, sample) => {
      const total = totals.get(tile) as Int32Array;
      (lists.get(tile) as Uint32Array[])[slot][total[slot]++] = sample;
    });
  });
  return [...lists.keys()]
    .sort((a, b) => a - b)
    .map((tile, index) => {
      const x = tile % counts[0];
      const y = Math.floor(tile / counts[0]) % counts[1];
      const z = Math.floor(tile / (counts[0] * counts[1]));
      const end = (at: number, axis: number): number => Math.min(plan.cellCounts[axis], (at + 1) * size);
      return {
        index,
        low: [x * size, y * size, z * size],
        high: [end(x, 0), end(y, 1), end(z, 2)],
        sampleIndices: lists.get(tile) as Uint32Array[],
      };
    });
}

/** Copies what a tile needs out of the samples; the copy can be transferred to a worker. */
export function tileInput(plan: FusionPlan, tile: FusionTile, samples: readonly FusionSamples[]): FusionTileInput {
  const count = tile.sampleIndices.reduce((sum, list) => sum + list.length, 0);
  const hasColors = samples.some((set) => set.colors !== null);
  const noises = new Float64Array(plan.scanIds.length);
  const coloredScans = new Uint8Array(plan.scanIds.length);
  const input = {
    plan,
    index: tile.index,
    low: tile.low,
    high: tile.high,
    positions: new Float64Array(3 * count),
    normals: new Float32Array(3 * count),
    areas: new Float32Array(count),
    weights: new Float32Array(count),
    sigmaPose: new Float32Array(count),
    scans: new Uint16Array(count),
    noises,
    colors: hasColors ? new Uint8Array(3 * count) : null,
    coloredScans,
  };
  let at = 0;
  samples.forEach((set, slot) => {
    noises[set.scanIndex] = set.noise;
    coloredScans[set.scanIndex] = set.colors ? 1 : 0;
    for (const i of tile.sampleIndices[slot]) {
      for (let axis = 0; axis < 3; axis++) {
        input.positions[3 * at + axis] = set.positions[3 * i + axis];
        input.normals[3 * at + axis] = set.normals[3 * i + axis];
        if (input.colors && set.colors) input.colors[3 * at + axis] = set.colors[3 * i + axis];
      }
      input.areas[at] = set.areas[i];
      input.weights[at] = set.weights[i];
      input.sigmaPose[at] = set.sigmaPose[i];
      input.scans[at] = set.scanIndex;
      at++;
    }
  });
  return input;
}
