import type { FusionPlan } from './fusion-plan.ts';
import type { SampleBins } from './sample-bins.ts';

/** Cosines of the angle to the sheet's normal: below `FACING_NONE` a sample has no say, above `FACING_FULL` its full say. */
const FACING_NONE = 0.2;
const FACING_FULL = 0.65;
/** Samples around a corner still show that the surface goes on: down to this cosine they count as support. */
const FACING_SUPPORT = -0.3;
/** Samples this many merge distances off the sheet have no say at all; from one merge distance on, less. */
const SLAB_END = 1.2;

/**
 * Signed distance of a place to one sheet, from the samples that the last search of the bins found.
 *
 * Method   each sample i carries a plane; a sphere is fitted to the planes in closed form (algebraic point set surfaces,
 *          Guennebaud & Gross 2007), so that a curved surface is met without the bias of averaged planes; for parallel
 *          planes the result is the weighted mean of their distances (Curless & Levoy 1996). The kernel counts distances
 *          in the tangent plane only, so that misaligned sheets do not pull by their nearness.
 * Units    mm; positive on the side the normals point to.
 */
export class LocalFit {
  /** Signed distance. */
  value = 0;
  /** Unit normal of the sheet. */
  nx = 0;
  ny = 0;
  nz = 0;
  /** Surface seen by the kernel, 1 = a full plane of one scan. */
  coverage = 0;
  /** Mean place of that surface relative to the query: normal part and tangential length. */
  meanX = 0;
  meanY = 0;
  meanZ = 0;
  tangentialOffset = 0;
  /** As coverage and tangentialOffset, with the surface beyond corners counted too: whether there is a surface at all. */
  supportCoverage = 0;
  supportOffset = 0;
  /** Tangential mean place of that surface, of length `supportOffset`. */
  supportX = 0;
  supportY = 0;
  supportZ = 0;
  /** Samples already claimed by a sheet, by place in the bins' list. */
  claimed: Uint8Array = new Uint8Array(1024);
  /** Kernel value of each found sample in the last fit; 0 = no part in it. */
  kernel: Float64Array = new Float64Array(1024);
  readonly #bins: SampleBins;
  readonly #radius: number;
  readonly #slab: number;
  readonly #slabEnd: number;
  readonly #planeCoverage: number;

  constructor(bins: SampleBins, plan: FusionPlan) {
    this.#bins = bins;
    this.#radius = plan.kernelRadius;
    this.#slab = plan.mergeDistance;
    this.#slabEnd = SLAB_END * plan.mergeDistance;
    // Integral of the kernel (1 - t^2/R^2)^2 over the plane.
    this.#planeCoverage = (Math.PI * plan.kernelRadius * plan.kernelRadius) / 3;
  }

  /** Radius within which a sample can matter to a place that lies on the sheet. */
  get reach(): number {
    return Math.sqrt(this.#radius * this.#radius + this.#slabEnd * this.#slabEnd);
  }

  /** Forgets the claims of the last place. */
  clear(count: number): void {
    if (this.claimed.length < count) {
      this.claimed = new Uint8Array(2 * count);
      this.kernel = new Float64Array(2 * count);
    }
    this.claimed.fill(0, 0, count);
  }

  /** The unclaimed sample nearest to the place and not beyond the kernel's reach in its own plane, or -1. */
  nearestUnclaimed(count: number): number {
    const { squares, offsets, found, normals } = this.#bins;
    const limit = this.#radius * this.#radius;
    let best = -1;
    let bestSquare = Infinity;
    for (let n = 0; n < count; n++) {
      if (this.claimed[n] !== 0 || squares[n] >= bestSquare) continue;
      const i = 3 * found[n];
      const s = offsets[3 * n] * normals[i] + offsets[3 * n + 1] * normals[i + 1] + offsets[3 * n + 2] * normals[i + 2];
      if (squares[n] - s * s > limit) continue;
      best = n;
      bestSquare = squares[n];
    }
    return best;
  }

  /** Fits the sheet that a found sample belongs to. Returns false when nothing supports it. */
  fitFromSeed(count: number, seed: number): boolean {
    const { offsets, found, normals, areas, squares } = this.#bins;
    const s = 3 * found[seed];
    const ax = normals[s];
    const ay = normals[s + 1];
    const az = normals[s + 2];
    const center = offsets[3 * seed] * ax + offsets[3 * seed + 1] * ay + offsets[3 * seed + 2] * az;
    const limit = this.#radius * this.#radius;
    let x = 0;
    let y = 0;
    let z = 0;
    let total = 0;
    let middle = 0;
    for (let n = 0; n < count; n++) {
      const i = 3 * found[n];
      const facing = normals[i] * ax + normals[i + 1] * ay + normals[i + 2] * az;
      if (facing <= FACING_NONE) continue;
      const along = offsets[3 * n] * ax + offsets[3 * n + 1] * ay + offsets[3 * n + 2] * az;
      if (Math.abs(along - center) > this.#slabEnd) continue;
      const rest = 1 - (squares[n] - along * along) / limit;
      if (!(rest > 0)) continue;
      const w = areas[found[n]] * rest * rest * facing;
      total += w;
      middle += w * along;
      x += w * normals[i];
      y += w * normals[i + 1];
      z += w * normals[i + 2];
    }
    const length = Math.sqrt(x * x + y * y + z * z);
    this.claimed[seed] = 1;
    if (!(length > 0)) return this.fit(count, ax, ay, az, center);
    x /= length;
    y /= length;
    z /= length;
    // The nearest sample is the one that noise pushed furthest this way: the sheet lies about the mean of its neighbours.
    return this.fit(count, x, y, z, middle / total);
  }

  /**
   * Fits the sheet with about this normal that lies about `center` along it.
   *
   * @returns false when no sample has a say
   */
  fit(count: number, mx: number, my: number, mz: number, center: number): boolean {
    const { offsets, found, normals, areas, weights, squares } = this.#bins;
    const limit = this.#radius * this.#radius;
    const inverseLimit = 1 / limit;
    const slab = this.#slab;
    const slabEnd = this.#slabEnd;
    const kernel = this.kernel;
    let sw = 0;
    let px = 0;
    let py = 0;
    let pz = 0;
    let ux = 0;
    let uy = 0;
    let uz = 0;
    let pn = 0;
    let pp = 0;
    let area = 0;
    let qx = 0;
    let qy = 0;
    let qz = 0;
    let support = 0;
    let rx = 0;
    let ry = 0;
    let rz = 0;
    for (let n = 0; n < count; n++) {
      kernel[n] = 0;
      const at = found[n];
      const i = 3 * at;
      const ix = normals[i];
      const iy = normals[i + 1];
      const iz = normals[i + 2];
      const facing = ix * mx + iy * my + iz * mz;
      if (facing <= FACING_SUPPORT) continue;
      const dx = offsets[3 * n];
      const dy = offsets[3 * n + 1];
      const dz = offsets[3 * n + 2];
      const along = dx * mx + dy * my + dz * mz;
      const off = Math.abs(along - center);
      if (off >= slabEnd) continue;
      if (facing > FACING_NONE) this.claimed[n] = 1;
      const rest = 1 - (squares[n] - along * along) * inverseLimit;
      if (!(rest > 0)) continue;
      let k = rest * rest;
      const shown = areas[at] * k;
      support += shown;
      rx += shown * dx;
      ry += shown * dy;
      rz += shown * dz;
      if (facing <= FACING_NONE) continue;
      if (facing < FACING_FULL) {
        const g = (facing - FACING_NONE) / (FACING_FULL - FACING_NONE);
        k *= g * g * (3 - 2 * g);
      }
      if (off > slab) {
        const g = (slabEnd - off) / (slabEnd - slab);
        k *= g * g * (3 - 2 * g);
      }
      kernel[n] = k;
      const w = weights[at] * k;
      const d = dx * ix + dy * iy + dz * iz;
      sw += w;
      px += w * dx;
      py += w * dy;
      pz += w * dz;
      ux += w * ix;
      uy += w * iy;
      uz += w * iz;
      pn += w * d;
      pp += w * squares[n];
      const a = areas[at] * k;
      area += a;
      qx += a * dx;
      qy += a * dy;
      qz += a * dz;
    }
    if (!(sw > 0)) return false;
    const inverse = 1 / sw;
    const spread = pp - (px * px + py * py + pz * pz) * inverse;
    let q = spread > 0.02 * limit * sw ? (0.5 * (pn - (px * ux + py * uy + pz * uz) * inverse)) / spread : 0;
    const qLimit = 0.5 / this.#radius;
    if (q > qLimit) q = qLimit;
    else if (q < -qLimit) q = -qLimit;
    const lx = (ux - 2 * q * px) * inverse;
    const ly = (uy - 2 * q * py) * inverse;
    const lz = (uz - 2 * q * pz) * inverse;
    const c = -(lx * px + ly * py + lz * pz + q * pp) * inverse;
    const slope = Math.sqrt(lx * lx + ly * ly + lz * lz);
    if (!(slope > 0)) return false;
    this.value = (2 * c) / (slope + Math.sqrt(Math.max(0, slope * slope - 4 * q * c)));
    this.nx = lx / slope;
    this.ny = ly / slope;
    this.nz = lz / slope;
    this.coverage = area / this.#planeCoverage;
    this.meanX = qx / area;
    this.meanY = qy / area;
    this.meanZ = qz / area;
    this.tangentialOffset = this.#acrossNormal(this.meanX, this.meanY, this.meanZ);
    this.supportCoverage = support / this.#planeCoverage;
    const up = (rx * this.nx + ry * this.ny + rz * this.nz) / support;
    this.supportX = rx / support - up * this.nx;
    this.supportY = ry / support - up * this.ny;
    this.supportZ = rz / support - up * this.nz;
    this.supportOffset = Math.sqrt(this.supportX ** 2 + this.supportY ** 2 + this.supportZ ** 2);
    return true;
  }

  #acrossNormal(x: number, y: number, z: number): number {
    const along = x * this.nx + y * this.ny + z * this.nz;
    return Math.sqrt(Math.max(0, x * x + y * y + z * z - along * along));
  }
}
