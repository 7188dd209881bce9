import type { FusionTileInput } from './fusion-tile.ts';
import { GrowingNumbers } from './growing-numbers.ts';
import type { LocalFit } from './local-fit.ts';
import type { SampleBins } from './sample-bins.ts';

/** How far a vertex may move from the mean of its crossings, in resolutions: it must not leave its cell by much. */
const MOST_MOVE = 0.6;
const PROJECTIONS = 2;
/** Where the data ends, the surface seen lies to one side by this share of the kernel radius (half disc under the kernel,
 *  16/105 over 1/6 pi: 0.29; less here, because the outermost points of a grid stand for half a cell beyond their centre),
 *  and each step beyond the border adds this part of itself. */
const BORDER_OFFSET = 0.26;
const OFFSET_SLOPE = 0.61;
/** Vertices whose surface is not clearly to one side are not moved; no vertex is moved by more than this many resolutions. */
const LEAST_OFFSET = 0.15;
const MOST_SLIDE = 0.4;
/** Colour is averaged over this share of the kernel radius: less blur than the shape has. */
const COLOR_REACH = 0.6;
const GREY = 150;
/** Sources further apart than this many of the vertex's stated standard uncertainties, and than this many times the scatter
 *  inside the sources (edges and other detail that scans show differently), do not agree. */
const APART_SIGMAS = 4;
const APART_SCATTERS = 2;
/** Sources with a smaller share are not listed. */
const LEAST_SHARE = 1 / 255;

/**
 * Puts the vertices of a tile onto the averaged surface and gives them their attributes.
 *
 * Sigma    noise: sum over scans of (share x noise)^2, that is, scans count as independent and the points of one scan as one
 *          observation, because a scan's errors are correlated in space. Alignment: sum of share x placement uncertainty.
 */
export class VertexBuilder {
  readonly positions: GrowingNumbers = new GrowingNumbers();
  readonly normals: GrowingNumbers = new GrowingNumbers();
  readonly colors: GrowingNumbers = new GrowingNumbers();
  readonly colored: GrowingNumbers = new GrowingNumbers();
  readonly sourceOffsets: GrowingNumbers = new GrowingNumbers();
  readonly sourceScans: GrowingNumbers = new GrowingNumbers();
  readonly sourceShares: GrowingNumbers = new GrowingNumbers();
  readonly sigmaNoise: GrowingNumbers = new GrowingNumbers();
  readonly sigmaAlignment: GrowingNumbers = new GrowingNumbers();
  readonly disagreement: GrowingNumbers = new GrowingNumbers();
  /** Vertices with several sources, and those of them whose sources do not agree. */
  severalCount = 0;
  apartCount = 0;
  largestApart = 0;
  readonly #input: FusionTileInput;
  readonly #bins: SampleBins;
  readonly #fit: LocalFit;
  readonly #shares: Float64Array;
  readonly #placed: Float64Array;
  readonly #heights: Float64Array;
  readonly #seen: number[] = [];

  constructor(input: FusionTileInput, bins: SampleBins, fit: LocalFit) {
    this.#input = input;
    this.#bins = bins;
    this.#fit = fit;
    this.#shares = new Float64Array(input.noises.length);
    this.#placed = new Float64Array(input.noises.length);
    this.#heights = new Float64Array(input.noises.length);
    this.sourceOffsets.push(0);
  }

  /**
   * Adds a vertex near a place with about this normal (not normalised).
   *
   * @param isBorder whether the surface ends here: the vertex is then moved sideways to where the data ends
   */
  add(x: number, y: number, z: number, mx: number, my: number, mz: number, isBorder: boolean): void {
    const fit = this.#fit;
    const length = Math.sqrt(mx * mx + my * my + mz * mz);
    let nx = length > 0 ? mx / length : 0;
    let ny = length > 0 ? my / length : 0;
    let nz = length > 0 ? mz / length : 1;
    const limit = MOST_MOVE * this.#input.plan.resolution;
    const slideLimit = MOST_SLIDE * this.#input.plan.resolution;
    let vx = x;
    let vy = y;
    let vz = z;
    let found = 0;
    for (let round = 0; round < PROJECTIONS; round++) {
      found = this.#bins.collect(vx, vy, vz, fit.reach);
      fit.clear(found);
      if (!fit.fit(found, nx, ny, nz, 0)) break;
      const step = Math.max(-limit, Math.min(limit, fit.value));
      vx -= step * fit.nx;
      vy -= step * fit.ny;
      vz -= step * fit.nz;
      nx = fit.nx;
      ny = fit.ny;
      nz = fit.nz;
      if (!isBorder || round > 0 || fit.supportOffset < LEAST_OFFSET * this.#input.plan.kernelRadius) continue;
      const beyond = fit.supportOffset - BORDER_OFFSET * this.#input.plan.kernelRadius;
      const slide = Math.max(-slideLimit, Math.min(slideLimit, beyond / OFFSET_SLOPE)) / fit.supportOffset;
      vx += slide * fit.supportX;
      vy += slide * fit.supportY;
      vz += slide * fit.supportZ;
    }
    const moved = Math.sqrt((vx - x) ** 2 + (vy - y) ** 2 + (vz - z) ** 2);
    if (moved > limit) {
      vx = x + ((vx - x) * limit) / moved;
      vy = y + ((vy - y) * limit) / moved;
      vz = z + ((vz - z) * limit) / moved;
    }
    for (const value of [vx, vy, vz]) this.positions.push(value);
    for (const value of [nx, ny, nz]) this.normals.push(value);
    this.#addSources(found);
    if (this.#input.colors) this.#addColor(found);
  }

  #addSources(found: number): void {
    const { order, weights, offsets, normals } = this.#bins;
    const { scans, sigmaPose, noises } = this.#input;
    const kernel = this.#fit.kernel;
    const seen = this.#seen;
    seen.length = 0;
    let total = 0;
    let mean = 0;
    let square = 0;
    for (let n = 0; n < found; n++) {
      if (kernel[n] === 0) continue;
      const at = this.#bins.found[n];
      const i = order[at];
      const scan = scans[i];
      const w = weights[at] * kernel[n];
      if (this.#shares[scan] === 0) seen.push(scan);
      this.#shares[scan] += w;
      this.#placed[scan] += w * sigmaPose[i];
      const height =
        offsets[3 * n] * normals[3 * at] +
        offsets[3 * n + 1] * normals[3 * at + 1] +
        offsets[3 * n + 2] * normals[3 * at + 2];
      this.#heights[scan] += w * height;
      mean += w * height;
      square += w * height * height;
      total += w;
    }
    seen.sort((a, b) => this.#shares[b] - this.#shares[a] || a - b);
    let noise = 0;
    let alignment = 0;
    let spread = 0;
    for (const scan of seen) {
      const share = this.#shares[scan] / total;
      noise += (share * noises[scan]) ** 2;
      alignment += this.#placed[scan] / total;
      spread += share * (this.#heights[scan] / this.#shares[scan] - mean / total) ** 2;
      if (share >= LEAST_SHARE || scan === seen[0]) {
        this.sourceScans.push(scan);
        this.sourceShares.push(Math.round(255 * share));
      }
      this.#shares[scan] = 0;
      this.#placed[scan] = 0;
      this.#heights[scan] = 0;
    }
    this.sourceOffsets.push(this.sourceScans.length);
    this.sigmaNoise.push(Math.sqrt(noise));
    this.sigmaAlignment.push(alignment);
    this.disagreement.push(seen.length > 1 ? Math.sqrt(spread) : 0);
    if (seen.length > 1) this.#judge(Math.sqrt(spread), Math.sqrt(noise + alignment * alignment), total, mean, square);
  }

  /** Sources are apart when they are further from each other than stated, and than each is scattered in itself by its shape. */
  #judge(spread: number, sigma: number, total: number, mean: number, square: number): void {
    this.severalCount++;
    const scatter = Math.sqrt(Math.max(0, square / total - (mean / total) ** 2 - spread * spread));
    if (spread <= APART_SIGMAS * sigma || spread <= APART_SCATTERS * scatter) return;
    this.apartCount++;
    this.largestApart = Math.max(this.largestApart, spread);
  }

  /** Colour of the samples that have a say in the vertex, that is, of compatible facing and of the same sheet. */
  #addColor(found: number): void {
    const { order, weights, squares } = this.#bins;
    const { scans, colors, coloredScans, plan } = this.#input;
    const kernel = this.#fit.kernel;
    const limit = (COLOR_REACH * plan.kernelRadius) ** 2;
    const near = [0, 0, 0, 0];
    const far = [0, 0, 0, 0];
    for (let n = 0; n < found; n++) {
      if (kernel[n] === 0) continue;
      const at = this.#bins.found[n];
      const i = order[at];
      if (coloredScans[scans[i]] === 0 || !colors) continue;
      const w = weights[at] * kernel[n];
      const sums = squares[n] < limit ? near : far;
      sums[3] += w;
      for (let channel = 0; channel < 3; channel++) sums[channel] += w * colors[3 * i + channel];
    }
    const sums = near[3] > 0 ? near : far;
    for (let channel = 0; channel < 3; channel++) {
      this.colors.push(sums[3] > 0 ? Math.round(sums[channel] / sums[3]) : GREY);
    }
    this.colored.push(sums[3] > 0 ? 1 : 0);
  }
}
