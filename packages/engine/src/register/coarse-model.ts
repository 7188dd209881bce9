import type { Viewpoint } from '../model/index.ts';
import { buildCoarseLookup, type CoarseLookup } from './coarse-lookup.ts';
import { type CoarseSurface, sampleCoarseSurface } from './coarse-surface.ts';
import { describeCoarseSurface } from './feature-histogram.ts';
import { selectDistinctive } from './feature-match.ts';
import { buildFreeSpaceMap, type FreeSpaceMap } from './free-space-map.ts';
import { inferViewDirection } from './free-space-view.ts';
import type { PreparedScan } from './prepared-scan.ts';

/** Everything coarse registration needs of one scan, made once and used for all its pairs. Plain data: may cross threads. */
export interface CoarseModel {
  /** Sample spacing, mm: the same for all scans that are compared. */
  readonly spacing: number;
  readonly surface: CoarseSurface;
  readonly features: Float32Array;
  /** Samples that are matched. */
  readonly keys: Int32Array;
  readonly lookup: CoarseLookup;
  readonly view: Viewpoint | null;
  /** The viewpoint was inferred from the normals. */
  readonly viewInferred: boolean;
  readonly free: FreeSpaceMap | null;
  readonly noise: number;
  readonly radius: number;
  readonly centroid: readonly [number, number, number];
  readonly origin: readonly [number, number, number];
  readonly pointCount: number;
  readonly oriented: boolean;
}

/** How finely scans are looked at. */
interface CoarseModelOptions {
  /** Reach of one descriptor in sample spacings. */
  readonly featureReach: number;
  /** Most samples that are matched. */
  readonly keyLimit: number;
}

/** Five spacings take in some 60 samples; 700 keys cover a scan of some 2500 samples and keep a pair below a tenth of a second. */
export const COARSE_MODEL_DEFAULTS: CoarseModelOptions = { featureReach: 5, keyLimit: 700 };

/** A viewpoint that was inferred is dropped when more of the scan than this would lie hidden behind the rest. */
const HIDDEN_LIMIT = 0.06;

/**
 * Sample spacing at which scans are compared, from the scans themselves: a share of the smallest scan's radius, not finer
 * than the points of the coarsest scan or twice the noise of the roughest.
 */
export function chooseCoarseSpacing(scans: readonly PreparedScan[], share: number): number {
  let radius = Infinity;
  let least = 0;
  for (const scan of scans) {
    radius = Math.min(radius, scan.radius);
    least = Math.max(least, scan.spacing, 2 * scan.noise);
  }
  return Math.max(share * radius, least);
}

/**
 * The same scan with fewer samples, made of the samples of a model: sees larger shapes.
 *
 * @param factor of the sample spacing, above one
 */
export function coarsenModel(model: CoarseModel, factor: number): CoarseModel {
  const spacing = factor * model.spacing;
  const { positions, normals, edge } = model.surface;
  const surface = sampleCoarseSurface(
    { positions, normals, border: edge, oriented: true, centroid: model.centroid },
    spacing,
  );
  const features = describeCoarseSurface(surface, COARSE_MODEL_DEFAULTS.featureReach * spacing);
  return {
    ...model,
    spacing,
    surface,
    features,
    keys: selectDistinctive(features, surface.edge, COARSE_MODEL_DEFAULTS.keyLimit),
    lookup: buildCoarseLookup(surface, 2 * spacing),
  };
}

/**
 * The same scan seen with all normals turned: for clouds whose normals agree among themselves but may all point inwards.
 * Without a viewpoint, since an inferred one would stand on the wrong side.
 */
export function turnModelInsideOut(model: CoarseModel): CoarseModel {
  const surface = { ...model.surface, normals: model.surface.normals.map((value) => -value) };
  const features = describeCoarseSurface(surface, COARSE_MODEL_DEFAULTS.featureReach * model.spacing);
  return {
    ...model,
    surface,
    features,
    keys: selectDistinctive(features, surface.edge, COARSE_MODEL_DEFAULTS.keyLimit),
    lookup: { ...model.lookup, surface },
    free: null,
    view: null,
    viewInferred: false,
  };
}

/**
 * Turns normals that agree among themselves but whose side is a guess so that most point away from the centroid: right for
 * whatever bulges towards the instrument, and the same guess for every scan of one surface.
 */
function guessOutside(scan: PreparedScan): PreparedScan {
  const { positions, normals, centroid } = scan;
  let sum = 0;
  for (let i = 0; i < positions.length; i++) sum += (positions[i] - centroid[i % 3]) * normals[i];
  return sum < 0 ? { ...scan, normals: normals.map((value) => -value) } : scan;
}

/** Describes one scan for coarse registration. */
export function buildCoarseModel(
  scan: PreparedScan,
  spacing: number,
  options: Partial<CoarseModelOptions> = {},
): CoarseModel {
  const { featureReach, keyLimit } = { ...COARSE_MODEL_DEFAULTS, ...options };
  const surface = sampleCoarseSurface(scan.oriented ? scan : guessOutside(scan), spacing);
  const features = describeCoarseSurface(surface, featureReach * spacing);
  let view = scan.viewpoint;
  let free: FreeSpaceMap | null = null;
  const pixel = Math.max(spacing / 2, 2.5 * scan.spacing);
  if (view !== null) free = buildFreeSpaceMap(scan, view, pixel);
  else if (scan.oriented) {
    view = inferViewDirection(surface);
    if (view !== null) free = buildFreeSpaceMap(scan, view, pixel);
    if (free !== null && free.hiddenShare > HIDDEN_LIMIT) {
      free = null;
      view = null;
    }
  }
  return {
    spacing,
    surface,
    features,
    keys: selectDistinctive(features, surface.edge, keyLimit),
    lookup: buildCoarseLookup(surface, 2 * spacing),
    view,
    viewInferred: scan.viewpoint === null && view !== null,
    free,
    noise: scan.noise,
    radius: scan.radius,
    centroid: [scan.centroid[0], scan.centroid[1], scan.centroid[2]],
    origin: [scan.origin[0], scan.origin[1], scan.origin[2]],
    pointCount: scan.positions.length / 3,
    oriented: scan.oriented,
  };
}
