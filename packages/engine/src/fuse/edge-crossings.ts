import type { FusionPlan } from './fusion-plan.ts';
import { GrowingNumbers } from './growing-numbers.ts';
import type { LocalFit } from './local-fit.ts';
import { LAYER_SIZE, type NodeField, PARALLEL } from './node-field.ts';
import type { SampleBins } from './sample-bins.ts';

/** Layers of two nodes are one sheet when their normals agree at least this much (cosine) ... */
const SAME_SHEET = 0.4;
/** ... and their distances differ from what the normal says by less than this many resolutions. */
const SHEET_MISMATCH = 0.9;
/** A sheet seen edge-on may lean the wrong way by this much (cosine) before the crossing is refused. */
const LEAN = 0.15;
/** Where the deciding layers of the two nodes are not one sheet, as in a corner, these wider limits hold. Two parallel sheets
 *  that are kept apart differ by more. */
const CORNER_AGREEMENT = -0.2;
const CORNER_MISMATCH = 1.25;
const CORNER_LEAN = 0.5;
/** Skins of one wall, crossed one after the other, are at least this opposed (cosine); in reversed order at least the second. */
const WALL = -0.35;
const THIN_SHEET = -0.8;
/** A crossing must lie this near to the surface that it is taken for, in resolutions. */
const SURFACE_REACH = 0.75;
/** Share of the kernel radius by which the surface seen may lie to one side: 0.29 at a straight border, more beyond it. With
 *  this value areas of patches come out right in the mean.
 *  The surface ends there: no skirt, no closed hole. */
const BORDER_OFFSET = 0.35;
/** Least surface seen, as a share of a full plane: a right-angled corner sees 0.25. */
const LEAST_COVERAGE = 0.1;

/**
 * Where the sheets cross the edges of the grid.
 *
 * Every edge is decided from its own two nodes and the samples around the crossing, so that all cells that share it agree,
 * in this tile and in the next. An edge whose ends have different signs has one crossing; one whose ends have the same sign
 * has none, or two when a sheet thinner than the grid passes between them.
 */
export class EdgeCrossings {
  /** First crossing of edge 3 node + axis, or -1. */
  readonly first: Int32Array;
  readonly counts: Uint8Array;
  count = 0;
  /** Edge, sense (+1: the normal points along the axis), place and normal of each crossing: 8 numbers. */
  readonly data: GrowingNumbers = new GrowingNumbers(8192);
  readonly #field: NodeField;
  readonly #bins: SampleBins;
  readonly #fit: LocalFit;
  readonly #plan: FusionPlan;
  readonly #strides: readonly [number, number, number];

  constructor(field: NodeField, bins: SampleBins, fit: LocalFit, plan: FusionPlan) {
    this.#field = field;
    this.#bins = bins;
    this.#fit = fit;
    this.#plan = plan;
    const { size } = field;
    this.#strides = [1, size[0], size[0] * size[1]];
    this.first = new Int32Array(3 * field.first.length).fill(-1);
    this.counts = new Uint8Array(3 * field.first.length);
    let node = 0;
    for (let k = 0; k < size[2]; k++) {
      for (let j = 0; j < size[1]; j++) {
        for (let i = 0; i < size[0]; i++, node++) {
          if (field.signs[node] === 0) continue;
          if (i + 1 < size[0]) this.#visit(node, 0, i, j, k);
          if (j + 1 < size[1]) this.#visit(node, 1, i, j, k);
          if (k + 1 < size[2]) this.#visit(node, 2, i, j, k);
        }
      }
    }
  }

  #visit(a: number, axis: number, i: number, j: number, k: number): void {
    const field = this.#field;
    const b = a + this.#strides[axis];
    const signA = field.signs[a];
    const signB = field.signs[b];
    if (signB === 0) return;
    if (signA !== signB) {
      const pair = this.#pair(a, b, axis, signB, true);
      if (pair >= 0) this.#cross(a, b, axis, pair, signB, i, j, k);
      return;
    }
    if (field.counts[a] < 2 && field.counts[b] < 2) return;
    // From outside first in, then out again (a thin sheet); from inside the other way round (a thin gap).
    const entering = this.#pair(a, b, axis, -signA, false);
    const leaving = this.#pair(a, b, axis, signA, false);
    if (entering >= 0 && leaving >= 0) {
      if (!this.#isWall(a, b, entering, leaving)) return;
      this.#cross(a, b, axis, entering, -signA, i, j, k);
      this.#cross(a, b, axis, leaving, signA, i, j, k);
    } else if (entering >= 0 && this.#isBehindAnother(a, b, entering)) {
      this.#cross(a, b, axis, entering, -signA, i, j, k);
    } else if (leaving >= 0 && this.#isBehindAnother(a, b, leaving)) {
      this.#cross(a, b, axis, leaving, signA, i, j, k);
    }
  }

  /**
   * Whether the crossed sheet stands behind or before another that faces the same way and decides the sign of the node
   * between them: that node is outside for one and inside for the other, and the crossing is real all the same.
   */
  #isBehindAnother(a: number, b: number, pair: number): boolean {
    const { layers, first } = this.#field;
    const values = layers.values;
    const isParallel = (node: number, layer: number): boolean => {
      if (layer === 0) return false;
      const deciding = LAYER_SIZE * first[node];
      const other = deciding + LAYER_SIZE * layer;
      let product = 0;
      for (let n = 1; n <= 3; n++) product += values[deciding + n] * values[other + n];
      return product > PARALLEL && Math.abs(values[deciding] - values[other]) > this.#plan.mergeDistance;
    };
    return isParallel(a, pair >> 2) || isParallel(b, pair & 3);
  }

  /** The layers of a and b, as 4 a + b, that are one sheet crossed with this sense; -1 when there are none. */
  #pair(a: number, b: number, axis: number, sense: number, corners: boolean): number {
    const field = this.#field;
    const values = field.layers.values;
    const h = this.#plan.resolution;
    let best = -1;
    let bestScore = Infinity;
    for (let i = 0; i < field.counts[a]; i++) {
      const la = LAYER_SIZE * (field.first[a] + i);
      if (values[la] >= 0 === sense > 0) continue;
      for (let j = 0; j < field.counts[b]; j++) {
        const lb = LAYER_SIZE * (field.first[b] + j);
        if (values[lb] >= 0 !== sense > 0) continue;
        const agreement =
          values[la + 1] * values[lb + 1] + values[la + 2] * values[lb + 2] + values[la + 3] * values[lb + 3];
        const slope = (values[la + 1 + axis] + values[lb + 1 + axis]) / 2;
        const mismatch = Math.abs(values[lb] - values[la] - h * slope);
        let score = mismatch + h * (1 - agreement);
        if (agreement < SAME_SHEET || score > SHEET_MISMATCH * h || slope * sense < -LEAN) {
          // Taken only where nothing better is there, and only between deciders.
          if (!corners || i !== 0 || j !== 0 || agreement < CORNER_AGREEMENT) continue;
          if (mismatch > CORNER_MISMATCH * h || slope * sense < -CORNER_LEAN) continue;
          score += 10 * h;
        }
        if (score < bestScore) {
          bestScore = score;
          best = 4 * i + j;
        }
      }
    }
    return best;
  }

  #isWall(a: number, b: number, entering: number, leaving: number): boolean {
    const values = this.#field.layers.values;
    const at = (pair: number): number => {
      const fa = values[LAYER_SIZE * (this.#field.first[a] + (pair >> 2))];
      const fb = values[LAYER_SIZE * (this.#field.first[b] + (pair & 3))];
      return fa / (fa - fb);
    };
    const first = LAYER_SIZE * (this.#field.first[a] + (entering >> 2));
    const second = LAYER_SIZE * (this.#field.first[a] + (leaving >> 2));
    let product = 0;
    for (let n = 1; n <= 3; n++) product += values[first + n] * values[second + n];
    return product < (at(entering) <= at(leaving) ? WALL : THIN_SHEET);
  }

  /** Records the crossing when the surface is really there. */
  #cross(a: number, b: number, axis: number, pair: number, sense: number, i: number, j: number, k: number): void {
    const { layers, first, base } = this.#field;
    const values = layers.values;
    const plan = this.#plan;
    const la = LAYER_SIZE * (first[a] + (pair >> 2));
    const lb = LAYER_SIZE * (first[b] + (pair & 3));
    const share = values[la] / (values[la] - values[lb]);
    const place: [number, number, number] = [
      plan.gridLow[0] + plan.resolution * (base[0] + i),
      plan.gridLow[1] + plan.resolution * (base[1] + j),
      plan.gridLow[2] + plan.resolution * (base[2] + k),
    ];
    place[axis] += plan.resolution * share;
    let mx = values[la + 1] + values[lb + 1];
    let my = values[la + 2] + values[lb + 2];
    let mz = values[la + 3] + values[lb + 3];
    const length = Math.sqrt(mx * mx + my * my + mz * mz);
    if (!(length > 0)) return;
    mx /= length;
    my /= length;
    mz /= length;
    const fit = this.#fit;
    const found = this.#bins.collect(place[0], place[1], place[2], fit.reach);
    fit.clear(found);
    if (!fit.fit(found, mx, my, mz, 0)) return;
    if (fit.supportCoverage < LEAST_COVERAGE || fit.supportOffset > BORDER_OFFSET * plan.kernelRadius) return;
    if (Math.abs(fit.value) > SURFACE_REACH * plan.resolution) return;
    const edge = 3 * a + axis;
    if (this.counts[edge] === 0) this.first[edge] = this.count;
    this.counts[edge]++;
    this.count++;
    for (const value of [edge, sense, place[0], place[1], place[2], fit.nx, fit.ny, fit.nz]) this.data.push(value);
  }
}
