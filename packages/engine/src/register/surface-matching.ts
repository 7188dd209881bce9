import { distanceToSurface, fitLocalSurfaces, type LocalSurfaces } from './local-surface.ts';
import { type Observations, type ScanSample, sampleScan } from './plane-matching.ts';
import type { PreparedScan } from './prepared-scan.ts';
import { type LocalMotion, movePoints, turnDirections } from './rigid-motion.ts';

/** Sample points of a scan put onto their own scan's smooth surface, which takes most of their noise away. */
export interface SmoothSample {
  /** On the surface, xyz. */
  readonly positions: Float64Array;
  readonly normals: Float64Array;
  /** Signed distance of the measured point from the smooth surface, mm. */
  readonly offsets: Float64Array;
  /** Numbers of the points in the prepared scan. */
  readonly points: Uint32Array;
  /** Samples kept: those with surface all round. */
  readonly count: number;
  /** Samples before leaving out those without surface all round. */
  readonly offered: number;
}

const distanceAndNormal: Float64Array = new Float64Array(4);

const smoothed = new WeakMap<Float32Array, Map<string, SmoothSample>>();

/** `smoothSample` of an even sample of a scan. Does not depend on any pose, so it is kept with the scan. */
export function smoothSampleOf(scan: PreparedScan, sampleCount: number, neighbourCount: number): SmoothSample {
  let known = smoothed.get(scan.positions);
  if (known === undefined) {
    known = new Map();
    smoothed.set(scan.positions, known);
  }
  const key = `${sampleCount} ${neighbourCount}`;
  let sample = known.get(key);
  if (sample === undefined) {
    sample = smoothSample(scan, sampleScan(scan, sampleCount), neighbourCount);
    known.set(key, sample);
  }
  return sample;
}

/** Moves samples along their normals onto the surface of their own neighbourhood. */
export function smoothSample(scan: PreparedScan, sample: ScanSample, neighbourCount: number): SmoothSample {
  const offered = sample.points.length;
  const surfaces = fitLocalSurfaces(
    scan,
    Float64Array.from(sample.positions),
    Float64Array.from(sample.normals),
    true,
    neighbourCount,
    Infinity,
  );
  const positions = new Float64Array(3 * offered);
  const normals = new Float64Array(3 * offered);
  const offsets = new Float64Array(offered);
  const points = new Uint32Array(offered);
  let count = 0;
  for (let i = 0; i < offered; i++) {
    if (surfaces.usable[i] === 0) continue;
    const x = sample.positions[3 * i];
    const y = sample.positions[3 * i + 1];
    const z = sample.positions[3 * i + 2];
    distanceToSurface(surfaces, i, x, y, z, distanceAndNormal);
    const [d, nx, ny, nz] = distanceAndNormal;
    positions[3 * count] = x - d * nx;
    positions[3 * count + 1] = y - d * ny;
    positions[3 * count + 2] = z - d * nz;
    normals[3 * count] = nx;
    normals[3 * count + 1] = ny;
    normals[3 * count + 2] = nz;
    points[count] = sample.points[i];
    offsets[count++] = d;
  }
  return {
    positions: positions.subarray(0, 3 * count),
    normals: normals.subarray(0, 3 * count),
    offsets: offsets.subarray(0, count),
    points: points.subarray(0, count),
    count,
    offered,
  };
}

/** Smooth samples of both scans with the other scan's surface around each. */
export interface SurfaceMatches {
  readonly a: SmoothSample;
  readonly b: SmoothSample;
  /** Surface of `a` around the samples of `b`, in the stored coordinates of `a`. */
  readonly onA: LocalSurfaces;
  /** Surface of `b` around the samples of `a`, in the stored coordinates of `b`. */
  readonly onB: LocalSurfaces;
  /** Normals of the samples in the other scan's frame. */
  readonly turnedB: Float64Array;
  readonly turnedA: Float64Array;
}

/** Finds the other scan's surface around each sample, both ways. */
export function matchSurfaces(
  scanA: PreparedScan,
  scanB: PreparedScan,
  a: SmoothSample,
  b: SmoothSample,
  aFromB: LocalMotion,
  bFromA: LocalMotion,
  neighbourCount: number,
  gate: number,
): SurfaceMatches {
  const signed = scanA.oriented && scanB.oriented;
  const turnedB = new Float64Array(3 * b.count);
  const turnedA = new Float64Array(3 * a.count);
  const around = (
    scan: PreparedScan,
    sample: SmoothSample,
    motion: LocalMotion,
    normals: Float64Array,
  ): LocalSurfaces => {
    const places = new Float64Array(3 * sample.count);
    movePoints(motion, sample.positions, places);
    turnDirections(motion, sample.normals, normals);
    return fitLocalSurfaces(scan, places, normals, signed, neighbourCount, gate);
  };
  return { a, b, onA: around(scanA, b, aFromB, turnedB), onB: around(scanB, a, bFromA, turnedA), turnedA, turnedB };
}

/**
 * Distances between the matched surfaces at a pose near the one they were found at.
 *
 * @param out observations in the stored coordinates of `a`: first those of the samples of `b`, then those of `a`
 * @param raw out, the same distances for the measured points instead of the smoothed ones
 * @param turns out, squared angles between the two surfaces, rad^2
 * @returns how many of the observations come from samples of `b`
 */
export function observeSurfaces(
  matches: SurfaceMatches,
  aFromB: LocalMotion,
  bFromA: LocalMotion,
  out: Observations,
  raw: Float64Array,
  turns: Float64Array,
): number {
  const { a, b, onA, onB, turnedA, turnedB } = matches;
  const moved = new Float64Array(3 * Math.max(a.count, b.count));
  movePoints(aFromB, b.positions, moved);
  let n = 0;
  for (let i = 0; i < b.count; i++) {
    if (onA.usable[i] === 0) continue;
    const x = moved[3 * i];
    const y = moved[3 * i + 1];
    const z = moved[3 * i + 2];
    distanceToSurface(onA, i, x, y, z, distanceAndNormal);
    const [d, nx, ny, nz] = distanceAndNormal;
    out.levers[3 * n] = x;
    out.levers[3 * n + 1] = y;
    out.levers[3 * n + 2] = z;
    out.normals[3 * n] = nx;
    out.normals[3 * n + 1] = ny;
    out.normals[3 * n + 2] = nz;
    out.residuals[n] = d;
    raw[n] = d + b.offsets[i];
    turns[n] = 2 - 2 * Math.abs(nx * turnedB[3 * i] + ny * turnedB[3 * i + 1] + nz * turnedB[3 * i + 2]);
    n++;
  }
  const fromB = n;
  movePoints(bFromA, a.positions, moved);
  const [r0, r1, r2, r3, r4, r5, r6, r7, r8] = aFromB.r;
  for (let i = 0; i < a.count; i++) {
    if (onB.usable[i] === 0) continue;
    distanceToSurface(onB, i, moved[3 * i], moved[3 * i + 1], moved[3 * i + 2], distanceAndNormal);
    const [d, nx, ny, nz] = distanceAndNormal;
    out.levers[3 * n] = a.positions[3 * i];
    out.levers[3 * n + 1] = a.positions[3 * i + 1];
    out.levers[3 * n + 2] = a.positions[3 * i + 2];
    out.normals[3 * n] = r0 * nx + r1 * ny + r2 * nz;
    out.normals[3 * n + 1] = r3 * nx + r4 * ny + r5 * nz;
    out.normals[3 * n + 2] = r6 * nx + r7 * ny + r8 * nz;
    // The surface of `b` moves with the pose, the sample of `a` stays: the distance counts from the sample to the surface.
    out.residuals[n] = -d;
    raw[n] = -d - a.offsets[i];
    turns[n] = 2 - 2 * Math.abs(nx * turnedA[3 * i] + ny * turnedA[3 * i + 1] + nz * turnedA[3 * i + 2]);
    n++;
  }
  out.count = n;
  return fromB;
}
