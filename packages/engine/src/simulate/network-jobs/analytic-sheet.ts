import type { Random } from '../../base/index.ts';

/**
 * A smooth surface given by a formula over two parameters (mm along the surface, nearly), object coordinates, mm.
 */
export interface AnalyticSheet {
  /** Writes the place of (u, v) to `out`. */
  place(u: number, v: number, out: Float64Array): void;
  /** 1 or -1: side of d/du x d/dv that is outside. */
  readonly side: 1 | -1;
}

/** A part of a sheet that a session captures: a rectangle of parameters, and which of its places are seen. */
export interface CapturedRegion {
  readonly sheet: AnalyticSheet;
  readonly from: readonly [number, number];
  readonly to: readonly [number, number];
  readonly spacing: number;
  readonly isSeen: (u: number, v: number) => boolean;
}

/** True places and outward normals, xyz interleaved. */
export interface TruePlaces {
  readonly places: Float64Array;
  readonly normals: Float64Array;
}

const STEP = 0.01;
const before: Float64Array = new Float64Array(3);
const after: Float64Array = new Float64Array(3);

function derivative(sheet: AnalyticSheet, u: number, v: number, du: number, dv: number): [number, number, number] {
  sheet.place(u - du, v - dv, before);
  sheet.place(u + du, v + dv, after);
  return [after[0] - before[0], after[1] - before[1], after[2] - before[2]];
}

/** Outward unit normal of a sheet. */
export function sheetNormal(sheet: AnalyticSheet, u: number, v: number): [number, number, number] {
  const a = derivative(sheet, u, v, STEP, 0);
  const b = derivative(sheet, u, v, 0, STEP);
  const n = [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]];
  const scale = sheet.side / Math.sqrt(n[0] * n[0] + n[1] * n[1] + n[2] * n[2]);
  return [n[0] * scale, n[1] * scale, n[2] * scale];
}

/** Places on a grid that is turned, shifted and shaken at random: two captures of one region share no place. */
export function samplePlaces(regions: readonly CapturedRegion[], random: Random): TruePlaces {
  const places: number[] = [];
  const normals: number[] = [];
  const out = new Float64Array(3);
  for (const { sheet, from, to, spacing, isSeen } of regions) {
    const angle = random.uniform() * Math.PI;
    const [c, s] = [Math.cos(angle), Math.sin(angle)];
    const middle = [(from[0] + to[0]) / 2, (from[1] + to[1]) / 2];
    const reach = Math.ceil(Math.hypot(to[0] - from[0], to[1] - from[1]) / 2 / spacing) + 1;
    for (let i = -reach; i <= reach; i++) {
      for (let j = -reach; j <= reach; j++) {
        const p = spacing * (i + 0.6 * random.uniform());
        const q = spacing * (j + 0.6 * random.uniform());
        const u = middle[0] + c * p - s * q;
        const v = middle[1] + s * p + c * q;
        if (u < from[0] || u > to[0] || v < from[1] || v > to[1] || !isSeen(u, v)) continue;
        sheet.place(u, v, out);
        places.push(out[0], out[1], out[2]);
        normals.push(...sheetNormal(sheet, u, v));
      }
    }
  }
  return { places: Float64Array.from(places), normals: Float64Array.from(normals) };
}

/** A rounded bump or dent: height over the sheet, mm. */
export interface SheetBump {
  readonly u: number;
  readonly v: number;
  readonly width: number;
  readonly height: number;
}

/** Height of all bumps at a place; farther than 5.5 widths a bump is nothing (3e-7 of its height). */
export function heightOfBumps(bumps: readonly SheetBump[], u: number, v: number, period: number): number {
  let sum = 0;
  for (const bump of bumps) {
    let du = u - bump.u;
    if (period > 0) du -= period * Math.round(du / period);
    const dv = v - bump.v;
    const d = (du * du + dv * dv) / (2 * bump.width * bump.width);
    if (d < 15) sum += bump.height * Math.exp(-d);
  }
  return sum;
}

/** Bumps and dents spread over a rectangle, one to a square of `pitch`, shaken at random. */
export function scatterBumps(
  from: readonly [number, number],
  to: readonly [number, number],
  pitch: number,
  width: readonly [number, number],
  height: readonly [number, number],
  random: Random,
): SheetBump[] {
  const bumps: SheetBump[] = [];
  for (let u = from[0] + pitch / 2; u < to[0]; u += pitch) {
    for (let v = from[1] + pitch / 2; v < to[1]; v += pitch) {
      bumps.push({
        u: u + pitch * (0.5 * random.uniform() - 0.25),
        v: v + pitch * (0.5 * random.uniform() - 0.25),
        width: width[0] + (width[1] - width[0]) * random.uniform(),
        height: (random.uniform() < 0.5 ? -1 : 1) * (height[0] + (height[1] - height[0]) * random.uniform()),
      });
    }
  }
  return bumps;
}
