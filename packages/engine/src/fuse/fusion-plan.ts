import { AppError, type Finding } from '../base/index.ts';
import type { Vec3 } from '../math/index.ts';
import type { FusionScanMeta } from './measure-scan.ts';

/** How to fuse. */
export interface FusionOptions {
  /** Edge length of the grid, mm; null: chosen from the data. */
  readonly resolution: number | null;
  /** Cells along one edge of a tile. Changes memory and time, never the result. */
  readonly tileCells: number;
  /** Pieces with less area than this many squared resolutions are removed and counted. */
  readonly speckArea: number;
  /** With `resolution` null, the grid is made coarser rather than giving more triangles than this. */
  readonly triangleLimit: number;
}

export const FUSION_DEFAULTS: FusionOptions = {
  resolution: null,
  // 64^3 cells with their margin take some 20 MB; smaller tiles waste work on margins.
  tileCells: 64,
  // A patch of 5 x 5 cells: smaller ones carry no shape that can be told from noise.
  speckArea: 25,
  triangleLimit: 12_000_000,
};

/**
 * Everything that the parts of a fusion share: the grid and the widths derived from its resolution.
 *
 * Frames   job frame; node (i, j, k) of the grid lies at origin + gridLow + resolution (i, j, k). Plain data.
 */
export interface FusionPlan {
  readonly origin: Vec3;
  readonly gridLow: Vec3;
  /** Cells along each axis. */
  readonly cellCounts: readonly [number, number, number];
  readonly resolution: number;
  /** Radius of the averaging kernel in the tangent plane, mm. */
  readonly kernelRadius: number;
  /** Same-facing sheets nearer than this along the normal are one sheet, mm. */
  readonly mergeDistance: number;
  /** Width over which a scan fades out towards its border, mm. */
  readonly featherWidth: number;
  readonly tileCells: number;
  readonly speckArea: number;
  readonly scanIds: readonly string[];
  readonly findings: readonly Finding[];
}

/** Kernel radius in resolutions: holds about eight points of a scan sampled at the resolution. */
const KERNEL_RADIUS = 1.5;
/** Merge distance: a good resolution, so that an alignment off by a whole spacing still gives one skin, or four standard
 *  deviations of the noisiest scan; never more than the tiles' margins allow. */
const LEAST_MERGE = 1.25;
const MERGE_NOISE = 4;
const MOST_MERGE = 1.5;
/** Feather width in resolutions: long enough that a step of a few sigma is a slope that cannot be seen. */
const FEATHER_WIDTH = 8;
/** Resolution in standard deviations of the noise: below this, bumps of noise would turn over into folds. */
const NOISE_FACTOR = 4;
/** A drawn model may have few, large triangles: the largest scan is resolved to this part of its length at least. */
const LEAST_STEPS = 16;
/** Cells per axis that fit the vertex keys. */
const CELL_LIMIT = 65_536;

/**
 * Chooses the resolution and lays the grid.
 *
 * Method   resolution = area-weighted median of the scans' point spacings, at least 4 times the median noise. The grid
 *          hangs on the data's own bounding box, so that moving the job's origin moves the result and nothing else.
 *
 * @param metas one entry a scan, in any order; scans are taken in the order of their ids
 * @throws AppError `fuse/nothing` without data, `fuse/too-fine` when the grid would have more than 65 536 cells an axis
 */
export function planFusion(metas: readonly FusionScanMeta[], options: Partial<FusionOptions> = {}): FusionPlan {
  const chosen = { ...FUSION_DEFAULTS, ...options };
  const used = metas.filter((meta) => meta.area > 0).sort((a, b) => (a.id < b.id ? -1 : a.id > b.id ? 1 : 0));
  if (used.length === 0) {
    throw new AppError('fuse/nothing', 'There is no surface to fuse.', 'Add scans with points, and align them first.');
  }
  if (chosen.resolution !== null && !(chosen.resolution > 0 && Number.isFinite(chosen.resolution))) {
    throw new RangeError('The resolution must be a positive length.');
  }
  const findings: Finding[] = [];
  const resolution = chosen.resolution ?? chooseResolution(used, chosen.triangleLimit, findings);
  noteLostDetail(used, resolution, findings);
  const low = [Infinity, Infinity, Infinity];
  const high = [-Infinity, -Infinity, -Infinity];
  for (const meta of used) {
    for (let axis = 0; axis < 3; axis++) {
      low[axis] = Math.min(low[axis], meta.low[axis]);
      high[axis] = Math.max(high[axis], meta.high[axis]);
    }
  }
  const origin: Vec3 = [(low[0] + high[0]) / 2, (low[1] + high[1]) / 2, (low[2] + high[2]) / 2];
  const margin = 4 * resolution;
  const noise = Math.max(...used.map((meta) => meta.noise));
  const gridLow: Vec3 = [
    (low[0] - high[0]) / 2 - margin,
    (low[1] - high[1]) / 2 - margin,
    (low[2] - high[2]) / 2 - margin,
  ];
  const count = (axis: number): number => Math.ceil((high[axis] - low[axis]) / resolution) + 8;
  const cellCounts: [number, number, number] = [count(0), count(1), count(2)];
  if (Math.max(...cellCounts) > CELL_LIMIT) {
    throw new AppError(
      'fuse/too-fine',
      `A resolution of ${resolution} mm over ${Math.max(high[0] - low[0], high[1] - low[1], high[2] - low[2])} mm is too fine.`,
      'Choose a coarser resolution.',
    );
  }
  return {
    origin,
    gridLow,
    cellCounts,
    resolution,
    kernelRadius: KERNEL_RADIUS * resolution,
    mergeDistance: Math.min(MOST_MERGE * resolution, Math.max(LEAST_MERGE * resolution, MERGE_NOISE * noise)),
    featherWidth: FEATHER_WIDTH * resolution,
    tileCells: Math.max(4, Math.floor(chosen.tileCells)),
    speckArea: chosen.speckArea,
    scanIds: metas.map((meta) => meta.id).sort(),
    findings,
  };
}

function chooseResolution(metas: readonly FusionScanMeta[], triangleLimit: number, findings: Finding[]): number {
  const spacing = weightedMedian(metas.map((meta) => [meta.spacing, meta.area]));
  const noise = weightedMedian(metas.map((meta) => [meta.noise, meta.area]));
  const sides = metas.flatMap((meta) => [0, 1, 2].map((axis) => meta.high[axis] - meta.low[axis]));
  const wanted = Math.max(Math.min(spacing, Math.max(...sides) / LEAST_STEPS), NOISE_FACTOR * noise);
  // A grid gives about three triangles for each squared resolution of surface.
  const area = metas.reduce((sum, meta) => sum + meta.area, 0);
  const coarsest = Math.sqrt((3 * area) / triangleLimit);
  if (coarsest <= wanted) return wanted;
  findings.push({
    severity: 'warning',
    code: 'fuse/coarsened',
    subject: 'fused',
    message: `The data's own spacing of ${wanted.toPrecision(3)} mm would give more than ${triangleLimit} triangles; ${coarsest.toPrecision(3)} mm is used.`,
    remedy: 'State a resolution to override this.',
  });
  return coarsest;
}

function noteLostDetail(metas: readonly FusionScanMeta[], resolution: number, findings: Finding[]): void {
  for (const meta of metas) {
    if (meta.spacing > 0.5 * resolution) continue;
    findings.push({
      severity: 'note',
      code: 'fuse/detail-lost',
      subject: meta.id,
      message: `Points lie ${meta.spacing.toPrecision(3)} mm apart, the fused surface is resolved to ${resolution.toPrecision(3)} mm: finer detail of this scan is averaged away.`,
      remedy: 'State a finer resolution if the detail matters.',
    });
  }
}

function weightedMedian(pairs: (readonly [number, number])[]): number {
  const sorted = [...pairs].sort((a, b) => a[0] - b[0]);
  const half = sorted.reduce((sum, pair) => sum + pair[1], 0) / 2;
  let sum = 0;
  for (const [value, weight] of sorted) {
    sum += weight;
    if (sum >= half) return value;
  }
  return sorted[sorted.length - 1][0];
}
