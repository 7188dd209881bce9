import { IDENTITY_POSE, transformPoint, type Vec3 } from '../math/index.ts';
import { CIVIDIS, colorAt, type Rgb, SCAN_COLORS } from './color-maps.ts';
import { type DrawItem, type Drawing, drawParallel, type View } from './rasterize.ts';
import type { ReportFused, ReportSurface } from './report-input.ts';

/** Views of every report: two oblique ones from opposite corners, from above, and one along the longest side. Z is up. */
export const REPORT_VIEWS: readonly View[] = [
  { name: 'oblique, from front left above', direction: [0.62, 0.62, -0.48], up: [0, 0, 1] },
  { name: 'oblique, from back right above', direction: [-0.62, -0.62, -0.48], up: [0, 0, 1] },
];

/** Looking down into the object, with everything above half its height taken off: shows the far ends of an inside. */
export const CUT_VIEW: View = { name: 'from above, cut at half height', direction: [0, 0, -1], up: [0, 1, 0] };

/** Words for the line patterns of the drawing, in the order of their numbers. */
export const PATTERN_WORDS: readonly string[] = [
  'plain',
  'lines falling',
  'lines rising',
  'level lines',
  'upright lines',
  'lines steep',
  'lines flat',
  'wide lines falling',
  'wide lines rising',
];

/** Pattern number of scan number i: the first is plain. */
export function patternOf(index: number): number {
  return index % PATTERN_WORDS.length;
}

/** Colour of scan number i. */
export function scanColor(index: number): Rgb {
  return SCAN_COLORS[index % SCAN_COLORS.length];
}

/** A point near the middle of the surfaces, job frame: drawing relative to it keeps every digit. */
export function middleOf(surfaces: readonly ReportSurface[]): Vec3 {
  const first = surfaces[0];
  return first === undefined ? [0, 0, 0] : transformPoint(first.jobFromItem, first.origin);
}

/** Every scan in its place, told apart by colour and pattern. */
export function drawScans(surfaces: readonly ReportSurface[], view: View, width: number): Drawing {
  const items: DrawItem[] = surfaces.map((surface, index) => ({
    origin: surface.origin,
    positions: surface.positions,
    triangles: surface.triangles,
    jobFromItem: surface.jobFromItem,
    colors: scanColor(index),
    hatch: patternOf(index),
    relief: 1,
  }));
  return drawParallel(items, view, width, middleOf(surfaces));
}

/** The fused surface in the colours and patterns of the scans it came from. */
export function drawProvenance(fused: ReportFused, view: View, width: number): Drawing {
  const count = fused.surface.positions.length / 3;
  const colors = new Uint8Array(3 * count);
  const hatch = new Uint8Array(count);
  for (let v = 0; v < count; v++) {
    const scan = fused.dominantScan[v];
    colors.set(scan < 0 ? [150, 150, 150] : scanColor(scan), 3 * v);
    hatch[v] = scan < 0 ? 0 : patternOf(scan);
  }
  return drawParallel([fusedItem(fused, colors, hatch, 1)], view, width, middleOf([fused.surface]));
}

/** The fused surface in its own colours; grey where no scan had any. */
export function drawOwnColors(fused: ReportFused, view: View, width: number): Drawing {
  return drawParallel(
    [fusedItem(fused, fused.colors ?? [188, 184, 174], 0, 1)],
    view,
    width,
    middleOf([fused.surface]),
  );
}

/** Triangles below half of the surface's height. Z is up. */
function lowerHalf({ positions, triangles }: ReportSurface): Uint32Array | null {
  if (triangles === null) return null;
  let low = Infinity;
  let high = -Infinity;
  for (let i = 2; i < positions.length; i += 3) {
    if (positions[i] < low) low = positions[i];
    if (positions[i] > high) high = positions[i];
  }
  const level = (low + high) / 2;
  const kept = new Uint32Array(triangles.length);
  let count = 0;
  for (let f = 0; f < triangles.length; f += 3) {
    const isBelow = [0, 1, 2].every((k) => positions[3 * triangles[f + k] + 2] < level);
    if (!isBelow) continue;
    kept.set(triangles.subarray(f, f + 3), count);
    count += 3;
  }
  return kept.slice(0, count);
}

/** Steps of a map: each band has one colour, so that a colour is read as a number. */
export interface MapScale {
  /** Width of a band: 1, 2 or 5 times a power of ten. */
  readonly step: number;
  readonly count: number;
}

/** A map of an uncertainty, one value a vertex: dark small, light large, hatched grey where it is not known. */
export function drawUncertainty(
  fused: ReportFused,
  u: Float32Array,
  scale: MapScale,
  view: View,
  width: number,
): Drawing {
  const colors = new Uint8Array(3 * u.length);
  const hatch = new Uint8Array(u.length);
  for (let v = 0; v < u.length; v++) {
    const known = Number.isFinite(u[v]);
    colors.set(known ? bandColor(Math.floor(u[v] / scale.step), scale.count) : [170, 170, 170], 3 * v);
    hatch[v] = known ? 0 : 1;
  }
  const item = fusedItem(fused, colors, hatch, 0.4);
  const shown = view === CUT_VIEW ? { ...item, triangles: lowerHalf(fused.surface) } : item;
  return drawParallel([shown], view, width, middleOf([fused.surface]));
}

/** Colour of band number i of a map of `count` bands; what lies beyond the last takes its colour. */
export function bandColor(i: number, count: number): Rgb {
  const band = Math.max(0, Math.min(count - 1, i));
  return colorAt(CIVIDIS, count > 1 ? band / (count - 1) : 0);
}

function fusedItem(fused: ReportFused, colors: Uint8Array | Rgb, hatch: number | Uint8Array, relief: number): DrawItem {
  return {
    origin: fused.surface.origin,
    positions: fused.surface.positions,
    triangles: fused.surface.triangles,
    jobFromItem: IDENTITY_POSE,
    colors,
    hatch,
    relief,
  };
}

/** Round steps up to the 99 % value, so that single points do not wash out the map: five to ten bands. */
export function mapScale(values: Float32Array): MapScale {
  const known = values.filter((value) => Number.isFinite(value)).sort();
  const high = known.length === 0 ? 0 : known[Math.min(known.length - 1, Math.floor(0.99 * known.length))];
  if (!(high > 0)) return { step: 0.01, count: 5 };
  const power = 10 ** Math.floor(Math.log10(high / 5));
  const step = ([1, 2, 5].find((lead) => high <= 10 * lead * power) ?? 10) * power;
  return { step, count: Math.max(2, Math.ceil(high / step)) };
}
