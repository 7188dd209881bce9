import type { FusionTileInput } from './fusion-tile.ts';
import { GrowingNumbers } from './growing-numbers.ts';
import type { LocalFit } from './local-fit.ts';
import type { SampleBins } from './sample-bins.ts';

/** Sheets a node may see at once. More than three facings within reach of one node are noise or a knot. */
const MOST_LAYERS = 3;
/** Surface, as a share of a full plane, that a node's sheet needs. */
const LEAST_COVERAGE = 0.04;
/** Nodes up to this many resolutions from a sample are looked at: an edge ends at most one from the surface, which lies up
 *  to a half from either of two misaligned scans, and samples are up to 0.7 apart sideways. */
const NODE_REACH = 1.7;
/** Search radius of a node, in resolutions: its sheet up to one away, a misaligned one one further, and the kernel around both. */
const NODE_SEARCH = 2.6;
/** Sheets whose normals are this opposed are skins of a thin sheet or walls of a gap. */
const OPPOSED = -0.8;
/** Sheets whose normals agree this much (cosine) lie behind one another. */
export const PARALLEL = 0.4;
const SAME_NORMAL = 0.9;
/** Surface a sheet must show to have a say in the sign, as a share of the best seen sheet's. */
const STRAY_SHARE = 0.2;
/** Distance of two opposed sheets, in resolutions, above which facing each other counts as a gap between bodies. */
const GAP = 0.25;

/** Numbers stored a layer: value, normal. */
export const LAYER_SIZE = 4;

/**
 * The signed distances at the nodes of one tile, kept apart by sheet.
 *
 * A node that sees both skins of a thin sheet, or two walls of a corner, has one layer for each: sums of different facing
 * are never mixed (as in directional fields, Splietker & Behnke 2019, but with the directions taken from the data). A node
 * that sees nothing is unknown, neither inside nor outside.
 */
export class NodeField {
  /** Nodes along each axis; node (0,0,0) is grid node low - 1 of the tile. */
  readonly size: readonly [number, number, number];
  readonly base: readonly [number, number, number];
  /** First layer of each node in `layers`, in layers; -1 unknown. The first layer is the one that decides the sign. */
  readonly first: Int32Array;
  readonly counts: Uint8Array;
  /** +1 outside, -1 inside, 0 unknown. */
  readonly signs: Int8Array;
  readonly layers: GrowingNumbers;

  constructor(input: FusionTileInput, bins: SampleBins, fit: LocalFit) {
    const { low, high, plan } = input;
    this.base = [low[0] - 1, low[1] - 1, low[2] - 1];
    this.size = [high[0] - low[0] + 2, high[1] - low[1] + 2, high[2] - low[2] + 2];
    const total = this.size[0] * this.size[1] * this.size[2];
    this.first = new Int32Array(total).fill(-1);
    this.counts = new Uint8Array(total);
    this.signs = new Int8Array(total);
    this.layers = new GrowingNumbers(4096);
    const active = this.#markActive(input, bins);
    const radius = NODE_SEARCH * plan.resolution;
    const sheets = new NodeSheets(plan.resolution);
    let node = 0;
    for (let k = 0; k < this.size[2]; k++) {
      for (let j = 0; j < this.size[1]; j++) {
        for (let i = 0; i < this.size[0]; i++, node++) {
          if (active[node] === 0) continue;
          const x = plan.gridLow[0] + plan.resolution * (this.base[0] + i);
          const y = plan.gridLow[1] + plan.resolution * (this.base[1] + j);
          const z = plan.gridLow[2] + plan.resolution * (this.base[2] + k);
          const found = bins.collect(x, y, z, radius);
          if (found === 0) continue;
          sheets.find(fit, found);
          if (sheets.count === 0) continue;
          this.first[node] = this.layers.length / LAYER_SIZE;
          this.counts[node] = sheets.count;
          this.signs[node] = sheets.write(this.layers);
        }
      }
    }
  }

  /** Nodes within reach of a sample. */
  #markActive(input: FusionTileInput, bins: SampleBins): Uint8Array {
    const { plan } = input;
    const active = new Uint8Array(this.first.length);
    const at = [0, 0, 0];
    const from = [0, 0, 0];
    const to = [0, 0, 0];
    const limit = NODE_REACH * NODE_REACH;
    for (let s = 0; s < bins.count; s++) {
      for (let axis = 0; axis < 3; axis++) {
        at[axis] = (bins.positions[3 * s + axis] - plan.gridLow[axis]) / plan.resolution - this.base[axis];
        from[axis] = Math.max(0, Math.ceil(at[axis] - NODE_REACH));
        to[axis] = Math.min(this.size[axis] - 1, Math.floor(at[axis] + NODE_REACH));
      }
      for (let k = from[2]; k <= to[2]; k++) {
        for (let j = from[1]; j <= to[1]; j++) {
          const row = (k * this.size[1] + j) * this.size[0];
          const square = (k - at[2]) ** 2 + (j - at[1]) ** 2;
          for (let i = from[0]; i <= to[0]; i++) if (square + (i - at[0]) ** 2 <= limit) active[row + i] = 1;
        }
      }
    }
    return active;
  }
}

/** The sheets around one node, and which of them says whether it lies inside or outside. */
class NodeSheets {
  count = 0;
  readonly #values = new Float64Array(MOST_LAYERS);
  readonly #normals = new Float64Array(3 * MOST_LAYERS);
  readonly #means = new Float64Array(3 * MOST_LAYERS);
  readonly #coverages = new Float64Array(MOST_LAYERS);
  readonly #gap: number;

  constructor(resolution: number) {
    this.#gap = GAP * resolution;
  }

  find(fit: LocalFit, found: number): void {
    fit.clear(found);
    this.count = 0;
    while (this.count < MOST_LAYERS) {
      const seed = fit.nearestUnclaimed(found);
      if (seed < 0) return;
      const supported = fit.fitFromSeed(found, seed);
      // A seed without say in its own sheet must not come up again.
      fit.claimed[seed] = 1;
      if (!supported || fit.coverage < LEAST_COVERAGE || this.#isKnown(fit)) continue;
      const n = this.count++;
      this.#values[n] = fit.value;
      this.#coverages[n] = fit.coverage;
      this.#normals[3 * n] = fit.nx;
      this.#normals[3 * n + 1] = fit.ny;
      this.#normals[3 * n + 2] = fit.nz;
      this.#means[3 * n] = fit.meanX;
      this.#means[3 * n + 1] = fit.meanY;
      this.#means[3 * n + 2] = fit.meanZ;
    }
  }

  /** Whether the fitted sheet is one that was found from an earlier seed. */
  #isKnown(fit: LocalFit): boolean {
    for (let n = 0; n < this.count; n++) {
      const normals = this.#normals;
      const product = normals[3 * n] * fit.nx + normals[3 * n + 1] * fit.ny + normals[3 * n + 2] * fit.nz;
      if (product > SAME_NORMAL && Math.abs(this.#values[n] - fit.value) < this.#gap) return true;
    }
    return false;
  }

  /** Appends the layers, the deciding one first, and returns its sign. */
  write(layers: GrowingNumbers): number {
    const decider = this.#decider();
    for (let n = 0; n < this.count; n++) {
      // The decider trades places with the nearest.
      const from = n === 0 ? decider : n === decider ? 0 : n;
      layers.push(this.#values[from]);
      for (let axis = 0; axis < 3; axis++) layers.push(this.#normals[3 * from + axis]);
    }
    return this.#values[decider] >= 0 ? 1 : -1;
  }

  /**
   * Inside a convex pair of sheets is what lies behind both; inside a concave pair what lies behind one. Which it is shows
   * in where the sheets' surfaces lie to each other. Of sheets that face the same way the nearer decides. Sheets that show
   * little next to the best seen one are strays and decide nothing.
   */
  #decider(): number {
    let most = 0;
    for (let k = 0; k < this.count; k++) most = Math.max(most, this.#coverages[k]);
    let decider = -1;
    for (let k = 0; k < this.count; k++) {
      if (this.#coverages[k] < STRAY_SHARE * most) continue;
      if (decider < 0 || this.#overrules(k, decider)) decider = k;
    }
    return decider;
  }

  /** Whether sheet k rather than sheet d says on which side the node lies. */
  #overrules(k: number, d: number): boolean {
    let facing = 0;
    let product = 0;
    for (let axis = 0; axis < 3; axis++) {
      const step = this.#means[3 * k + axis] - this.#means[3 * d + axis];
      facing += (this.#normals[3 * d + axis] - this.#normals[3 * k + axis]) * step;
      product += this.#normals[3 * d + axis] * this.#normals[3 * k + axis];
    }
    if (product > PARALLEL) return Math.abs(this.#values[k]) < Math.abs(this.#values[d]);
    // Opposed sheets closer than the grid can tell are skins of one wall, not walls of a gap.
    const concave = facing > (product < OPPOSED ? 2 * this.#gap : 0);
    return concave ? this.#values[k] < this.#values[d] : this.#values[k] > this.#values[d];
  }
}
