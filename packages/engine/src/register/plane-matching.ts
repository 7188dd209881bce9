import type { PreparedScan } from './prepared-scan.ts';
import { type LocalMotion, movePoints, turnDirections } from './rigid-motion.ts';
import { medianInPlace } from './robust-scale.ts';
import { scanPointIndex } from './scan-point-index.ts';
import { trimDistances } from './trimmed-distances.ts';

/**
 * Median of the squared angle between two normals of one surface, over the variance of one component of one normal: a sum of
 * two squares with variance 2 u^2 each has the median 4 ln 2 u^2.
 */
export const NORMAL_NOISE_FACTOR: number = 4 * Math.LN2;

/** Some points of a scan, spread evenly along its canonical order. */
export interface ScanSample {
  readonly points: Uint32Array;
  readonly positions: Float32Array;
  readonly normals: Float32Array;
}

/** Chooses about `count` points of a scan that are not at its border. Canonical order is a walk over the surface, so equal steps along it spread. */
export function sampleScan(scan: PreparedScan, count: number): ScanSample {
  const pointCount = scan.positions.length / 3;
  const inner = new Uint32Array(pointCount);
  let innerCount = 0;
  for (let i = 0; i < pointCount; i++) if (scan.border[i] === 0) inner[innerCount++] = i;
  const size = Math.min(count, innerCount);
  const points = new Uint32Array(size);
  const positions = new Float32Array(3 * size);
  const normals = new Float32Array(3 * size);
  for (let s = 0; s < size; s++) {
    const i = inner[Math.floor(((s + 0.5) * innerCount) / size)];
    points[s] = i;
    for (let a = 0; a < 3; a++) {
      positions[3 * s + a] = scan.positions[3 * i + a];
      normals[3 * s + a] = scan.normals[3 * i + a];
    }
  }
  return { points, positions, normals };
}

/** Point-to-plane observations in the frame of scan `a`: one lever point, unit normal and signed distance each. */
export interface Observations {
  count: number;
  readonly levers: Float64Array;
  readonly normals: Float64Array;
  readonly residuals: Float64Array;
  readonly weights: Float64Array;
}

/** Room for observations. */
export function makeObservations(capacity: number): Observations {
  return {
    count: 0,
    levers: new Float64Array(3 * capacity),
    normals: new Float64Array(3 * capacity),
    residuals: new Float64Array(capacity),
    weights: new Float64Array(capacity),
  };
}

/** What one round of matching found. */
export interface MatchRound {
  /** Distance beyond which points are taken to have no partner, mm. */
  readonly gate: number;
  /** Standard deviation of one component of a normal, rad, from the differences of matched normals. */
  readonly normalNoise: number;
}

/**
 * Matches samples of two scans with the nearest points of the other, both ways.
 *
 * Method   symmetric point-to-plane distance with the mean of both normals, lever at the middle (Rusinkiewicz 2019).
 *          Points whose nearest partner is at a border are left out (Turk & Levoy 1994), so are those whose normals differ by
 *          more than 60 deg, and those farther than the gate, which is estimated by `trimDistances` in both directions and
 *          never grows.
 *
 * @param aFromB motion between stored coordinates
 * @param gate mm, Infinity at the first round
 * @param gateFloor mm, the gate does not fall below
 * @param out observations in the stored coordinates of `a`
 */
export function matchPlanes(
  a: PreparedScan,
  b: PreparedScan,
  samplesA: ScanSample,
  samplesB: ScanSample,
  aFromB: LocalMotion,
  bFromA: LocalMotion,
  gate: number,
  gateFloor: number,
  out: Observations,
): MatchRound {
  const signed = a.oriented && b.oriented;
  const forward = searchNearest(a, samplesB, aFromB, gate);
  const backward = searchNearest(b, samplesA, bFromA, gate);
  const scratch = new Float64Array(Math.max(forward.squared.length, backward.squared.length));
  const trims = [forward, backward].map(({ squared }) => {
    for (let i = 0; i < squared.length; i++) scratch[i] = squared[i];
    return trimDistances(scratch, squared.length);
  });
  const trimmed = trims.map(({ distance }) => distance).filter((distance) => distance > 0);
  const newGate = Math.max(gateFloor, Math.min(gate, ...trimmed));
  const limit = newGate * newGate;
  out.count = 0;
  const differences = new Float64Array(forward.squared.length + backward.squared.length);
  const bPoints = new Float64Array(3);
  const turned = new Float64Array(3);
  const addMatch = (
    px: number,
    py: number,
    pz: number,
    qx: number,
    qy: number,
    qz: number,
    nAx: number,
    nAy: number,
    nAz: number,
    nBx: number,
    nBy: number,
    nBz: number,
  ): void => {
    const along = nAx * nBx + nAy * nBy + nAz * nBz;
    if ((signed ? along : Math.abs(along)) < 0.5) return;
    const s = along < 0 ? -1 : 1;
    let nx = nAx + s * nBx;
    let ny = nAy + s * nBy;
    let nz = nAz + s * nBz;
    const inverse = 1 / Math.sqrt(nx * nx + ny * ny + nz * nz);
    nx *= inverse;
    ny *= inverse;
    nz *= inverse;
    const i = out.count++;
    differences[i] = 2 - 2 * Math.abs(along);
    out.levers[3 * i] = (px + qx) / 2;
    out.levers[3 * i + 1] = (py + qy) / 2;
    out.levers[3 * i + 2] = (pz + qz) / 2;
    out.normals[3 * i] = nx;
    out.normals[3 * i + 1] = ny;
    out.normals[3 * i + 2] = nz;
    out.residuals[i] = (px - qx) * nx + (py - qy) * ny + (pz - qz) * nz;
  };
  for (let s = 0; s < samplesB.points.length; s++) {
    const j = forward.found[s];
    if (j < 0 || a.border[j] === 1 || forward.squared[s] > limit) continue;
    addMatch(
      forward.moved[3 * s],
      forward.moved[3 * s + 1],
      forward.moved[3 * s + 2],
      a.positions[3 * j],
      a.positions[3 * j + 1],
      a.positions[3 * j + 2],
      a.normals[3 * j],
      a.normals[3 * j + 1],
      a.normals[3 * j + 2],
      forward.turned[3 * s],
      forward.turned[3 * s + 1],
      forward.turned[3 * s + 2],
    );
  }
  for (let s = 0; s < samplesA.points.length; s++) {
    const j = backward.found[s];
    if (j < 0 || b.border[j] === 1 || backward.squared[s] > limit) continue;
    movePoints(aFromB, b.positions.subarray(3 * j, 3 * j + 3), bPoints);
    turnDirections(aFromB, b.normals.subarray(3 * j, 3 * j + 3), turned);
    addMatch(
      bPoints[0],
      bPoints[1],
      bPoints[2],
      samplesA.positions[3 * s],
      samplesA.positions[3 * s + 1],
      samplesA.positions[3 * s + 2],
      samplesA.normals[3 * s],
      samplesA.normals[3 * s + 1],
      samplesA.normals[3 * s + 2],
      turned[0],
      turned[1],
      turned[2],
    );
  }
  return { gate: newGate, normalNoise: Math.sqrt(medianInPlace(differences, out.count) / NORMAL_NOISE_FACTOR) };
}

interface NearestSearch {
  readonly moved: Float64Array;
  readonly turned: Float64Array;
  readonly found: Int32Array;
  readonly squared: Float32Array;
}

function searchNearest(target: PreparedScan, sample: ScanSample, motion: LocalMotion, gate: number): NearestSearch {
  const count = sample.points.length;
  const moved = new Float64Array(3 * count);
  const turned = new Float64Array(3 * count);
  movePoints(motion, sample.positions, moved);
  turnDirections(motion, sample.normals, turned);
  const found = new Int32Array(count);
  const squared = new Float32Array(count);
  scanPointIndex(target).nearest(Float32Array.from(moved), gate, found, squared);
  return { moved, turned, found, squared };
}
