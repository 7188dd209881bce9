import { distanceToSurface, fitLocalSurfaces, type LocalSurfaces } from './local-surface.ts';
import { NORMAL_NOISE_FACTOR, type Observations, sampleScan } from './plane-matching.ts';
import type { PreparedScan } from './prepared-scan.ts';
import { type LocalMotion, movePoints, turnDirections } from './rigid-motion.ts';
import { medianInPlace } from './robust-scale.ts';

/**
 * Sample points of a scan put onto their own scan's smooth surface, which takes most of their noise away. Does not depend on
 * any pose; worked out where first needed and kept.
 */
export interface SmoothSample {
  readonly neighbourCount: number;
  readonly count: number;
  /** Numbers of the points in the prepared scan. */
  readonly points: Uint32Array;
  readonly measured: Float64Array;
  /** Normals of the prepared scan: the search uses these, so that what was worked out before leaves no trace in it. */
  readonly measuredNormals: Float64Array;
  /** 0: not asked for yet; 1: `positions` and the rest hold; 2: no surface all round. */
  readonly state: Uint8Array;
  /** On the surface, xyz. */
  readonly positions: Float64Array;
  /** Of the surface; holds where `state` is 1. */
  readonly normals: Float64Array;
  /** Signed distance of the measured point from the smooth surface, mm. */
  readonly offsets: Float64Array;
  /** Root mean square residual of the neighbourhood, mm. */
  readonly roughness: Float64Array;
  /** Reach of the neighbourhood, mm. */
  readonly reach: Float64Array;
}

const samples = new WeakMap<Float32Array, Map<string, SmoothSample>>();
const distanceAndNormal: Float64Array = new Float64Array(4);

/** An even sample of a scan, kept with the scan. */
export function smoothSampleOf(scan: PreparedScan, sampleCount: number, neighbourCount: number): SmoothSample {
  let known = samples.get(scan.positions);
  if (known === undefined) {
    known = new Map();
    samples.set(scan.positions, known);
  }
  const key = `${sampleCount} ${neighbourCount}`;
  let sample = known.get(key);
  if (sample === undefined) {
    const plain = sampleScan(scan, sampleCount);
    const count = plain.points.length;
    const measured = Float64Array.from(plain.positions);
    sample = {
      neighbourCount,
      count,
      points: plain.points,
      measured,
      state: new Uint8Array(count),
      positions: measured.slice(),
      measuredNormals: Float64Array.from(plain.normals),
      normals: Float64Array.from(plain.normals),
      offsets: new Float64Array(count),
      roughness: new Float64Array(count),
      reach: new Float64Array(count),
    };
    known.set(key, sample);
  }
  return sample;
}

/** Moves the wanted samples along their normals onto the surface of their own neighbourhood. */
function smoothWhereWanted(scan: PreparedScan, sample: SmoothSample, wanted: Uint8Array): void {
  const todo = new Uint32Array(sample.count);
  let todoCount = 0;
  for (let i = 0; i < sample.count; i++) if (wanted[i] === 1 && sample.state[i] === 0) todo[todoCount++] = i;
  if (todoCount === 0) return;
  const places = new Float64Array(3 * todoCount);
  const normals = new Float64Array(3 * todoCount);
  for (let t = 0; t < todoCount; t++) {
    for (let a = 0; a < 3; a++) {
      places[3 * t + a] = sample.measured[3 * todo[t] + a];
      normals[3 * t + a] = sample.measuredNormals[3 * todo[t] + a];
    }
  }
  const surfaces = fitLocalSurfaces(scan, places, normals, true, sample.neighbourCount, Infinity);
  for (let t = 0; t < todoCount; t++) {
    const i = todo[t];
    sample.state[i] = surfaces.usable[t] === 1 ? 1 : 2;
    if (surfaces.usable[t] === 0) continue;
    distanceToSurface(surfaces, t, places[3 * t], places[3 * t + 1], places[3 * t + 2], distanceAndNormal);
    sample.offsets[i] = distanceAndNormal[0];
    sample.roughness[i] = surfaces.roughness[t];
    sample.reach[i] = surfaces.reach[t];
    for (let a = 0; a < 3; a++) {
      sample.positions[3 * i + a] = places[3 * t + a] - distanceAndNormal[0] * distanceAndNormal[1 + a];
      sample.normals[3 * i + a] = distanceAndNormal[1 + a];
    }
  }
}

/** Smooth samples of both scans with the other scan's surface around each. */
export interface SurfaceMatches {
  readonly a: SmoothSample;
  readonly b: SmoothSample;
  /** Surface of `a` around the samples of `b`, in the stored coordinates of `a`; usable where both scans have one. */
  readonly onA: LocalSurfaces;
  /** Surface of `b` around the samples of `a`, in the stored coordinates of `b`. */
  readonly onB: LocalSurfaces;
}

/** Finds the other scan's surface around each sample, both ways. */
export function matchSurfaces(
  scanA: PreparedScan,
  scanB: PreparedScan,
  a: SmoothSample,
  b: SmoothSample,
  aFromB: LocalMotion,
  bFromA: LocalMotion,
  gate: number,
): SurfaceMatches {
  const signed = scanA.oriented && scanB.oriented;
  const around = (other: PreparedScan, own: PreparedScan, sample: SmoothSample, motion: LocalMotion): LocalSurfaces => {
    const places = new Float64Array(3 * sample.count);
    const normals = new Float64Array(3 * sample.count);
    movePoints(motion, sample.measured, places);
    turnDirections(motion, sample.measuredNormals, normals);
    const surfaces = fitLocalSurfaces(other, places, normals, signed, sample.neighbourCount, gate);
    smoothWhereWanted(own, sample, surfaces.usable);
    for (let i = 0; i < sample.count; i++) if (sample.state[i] !== 1) surfaces.usable[i] = 0;
    return surfaces;
  };
  return { a, b, onA: around(scanA, scanB, b, aFromB), onB: around(scanB, scanA, a, bFromA) };
}

/** Observations between matched surfaces. */
export interface SurfaceObservations extends Observations {
  /** The distances for the measured points instead of the smoothed ones, mm. */
  readonly raw: Float64Array;
  /** Squared angles between the two surfaces, rad^2. */
  readonly turns: Float64Array;
  /** Weights by what both neighbourhoods know, see `informationOf`; about 1. */
  readonly base: Float64Array;
  /** Mean reach of both neighbourhoods, mm. */
  readonly reaches: Float64Array;
  /** Observations that come from samples of `b`; they are the first. */
  fromB: number;
}

/** Room for observations of matches of two samples. */
export function makeSurfaceObservations(a: SmoothSample, b: SmoothSample): SurfaceObservations {
  const capacity = a.count + b.count;
  return {
    count: 0,
    fromB: 0,
    levers: new Float64Array(3 * capacity),
    normals: new Float64Array(3 * capacity),
    residuals: new Float64Array(capacity),
    weights: new Float64Array(capacity),
    raw: new Float64Array(capacity),
    turns: new Float64Array(capacity),
    base: new Float64Array(capacity),
    reaches: new Float64Array(capacity),
  };
}

/**
 * Distances between the matched surfaces at a pose near the one they were found at.
 *
 * @param out observations in the stored coordinates of `a`: first those of the samples of `b`, then those of `a`
 */
export function observeSurfaces(
  matches: SurfaceMatches,
  aFromB: LocalMotion,
  bFromA: LocalMotion,
  out: SurfaceObservations,
): void {
  const { a, b, onA, onB } = matches;
  const moved = new Float64Array(3 * Math.max(a.count, b.count));
  const [r0, r1, r2, r3, r4, r5, r6, r7, r8] = aFromB.r;
  movePoints(aFromB, b.positions, moved);
  let n = 0;
  for (let i = 0; i < b.count; i++) {
    if (onA.usable[i] === 0) continue;
    const x = moved[3 * i];
    const y = moved[3 * i + 1];
    const z = moved[3 * i + 2];
    distanceToSurface(onA, i, x, y, z, distanceAndNormal);
    const d = distanceAndNormal[0];
    const nx = distanceAndNormal[1];
    const ny = distanceAndNormal[2];
    const nz = distanceAndNormal[3];
    out.levers[3 * n] = x;
    out.levers[3 * n + 1] = y;
    out.levers[3 * n + 2] = z;
    out.normals[3 * n] = nx;
    out.normals[3 * n + 1] = ny;
    out.normals[3 * n + 2] = nz;
    out.residuals[n] = d;
    out.raw[n] = d + b.offsets[i];
    const px = b.normals[3 * i];
    const py = b.normals[3 * i + 1];
    const pz = b.normals[3 * i + 2];
    const along =
      nx * (r0 * px + r1 * py + r2 * pz) + ny * (r3 * px + r4 * py + r5 * pz) + nz * (r6 * px + r7 * py + r8 * pz);
    out.turns[n] = 2 - 2 * Math.abs(along);
    out.reaches[n] = (b.reach[i] + onA.reach[i]) / 2;
    out.base[n] = informationOf(b.roughness[i], b.reach[i], onA.roughness[i], onA.reach[i]);
    n++;
  }
  out.fromB = n;
  movePoints(bFromA, a.positions, moved);
  for (let i = 0; i < a.count; i++) {
    if (onB.usable[i] === 0) continue;
    distanceToSurface(onB, i, moved[3 * i], moved[3 * i + 1], moved[3 * i + 2], distanceAndNormal);
    const d = distanceAndNormal[0];
    const px = distanceAndNormal[1];
    const py = distanceAndNormal[2];
    const pz = distanceAndNormal[3];
    const nx = r0 * px + r1 * py + r2 * pz;
    const ny = r3 * px + r4 * py + r5 * pz;
    const nz = r6 * px + r7 * py + r8 * pz;
    out.levers[3 * n] = a.positions[3 * i];
    out.levers[3 * n + 1] = a.positions[3 * i + 1];
    out.levers[3 * n + 2] = a.positions[3 * i + 2];
    out.normals[3 * n] = nx;
    out.normals[3 * n + 1] = ny;
    out.normals[3 * n + 2] = nz;
    // The surface of `b` moves with the pose, the sample of `a` stays: the distance counts from the sample to the surface.
    out.residuals[n] = -d;
    out.raw[n] = -d - a.offsets[i];
    out.turns[n] = 2 - 2 * Math.abs(nx * a.normals[3 * i] + ny * a.normals[3 * i + 1] + nz * a.normals[3 * i + 2]);
    out.reaches[n] = (a.reach[i] + onB.reach[i]) / 2;
    out.base[n] = informationOf(a.roughness[i], a.reach[i], onB.roughness[i], onB.reach[i]);
    n++;
  }
  out.count = n;
  scaleWeights(out);
}

/**
 * What one match tells, up to a factor. A patch of surface is seen by n1 and n2 points with variances s1^2 and s2^2; the
 * difference of its two heights has the variance s1^2 / n1 + s2^2 / n2, and n1 + n2 samples share what it tells. Densities are
 * one over the square of the reach. Scatter that is shape the quadric does not follow counts like noise.
 */
function informationOf(roughness1: number, reach1: number, roughness2: number, reach2: number): number {
  const area1 = reach1 * reach1;
  const area2 = reach2 * reach2;
  return 1 / ((1 / area1 + 1 / area2) * (roughness1 * roughness1 * area1 + roughness2 * roughness2 * area2));
}

/** Brings the weights to a median of one; without any scatter all are one. */
function scaleWeights(observations: SurfaceObservations): void {
  const { base, count, weights } = observations;
  weights.set(base.subarray(0, count));
  const typical = medianInPlace(weights, count);
  // A cap, so that a few patches that happen to be smooth do not carry the pose.
  const isUsable = typical > 0 && Number.isFinite(typical);
  for (let i = 0; i < count; i++) base[i] = isUsable ? Math.min(10, base[i] / typical) : 1;
}

/** Standard deviation of one component of a normal of either surface, rad, from how far they differ where matched. */
export function normalNoiseOf(observations: SurfaceObservations): number {
  const { turns, count } = observations;
  return Math.sqrt(medianInPlace(turns.slice(0, count), count) / NORMAL_NOISE_FACTOR);
}
