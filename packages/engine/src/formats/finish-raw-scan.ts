import { FormatError } from '../base/index.ts';
import type { Vec3 } from '../math/index.ts';
import type { LengthUnit } from '../model/index.ts';
import { type FaceCollector, NO_VERTEX } from './face-collector.ts';
import {
  countOf,
  type RawScan,
  type ReadFindings,
  type ScanCounts,
  type ScanEncoding,
  type ScanFormat,
} from './raw-scan.ts';

/** What a reader hands over when the file is through. It gives up the arrays. */
export interface ReadParts {
  readonly name: string;
  readonly format: ScanFormat;
  readonly encoding: ScanEncoding;
  readonly statedUnit: LengthUnit | null;
  readonly positions: Float32Array | Float64Array;
  readonly normals?: Float32Array | null;
  readonly colors?: Uint8Array | null;
  readonly properties?: Readonly<Record<string, Float32Array>>;
  readonly faces?: FaceCollector | null;
  readonly viewDirection?: Vec3 | null;
  readonly pointsStated: number | null;
  readonly facesStated?: number | null;
  readonly cornersWelded?: number;
  readonly findings: ReadFindings;
}

/**
 * Makes the raw scan: drops points that are not finite and faces that point nowhere, counts both, finds the box.
 *
 * This is the only place where points are dropped. Arrays are compacted in place.
 */
export function finishRawScan(parts: ReadParts): RawScan {
  const { findings, faces } = parts;
  faces?.cutPolygons(parts.positions);
  const pointsRead = parts.positions.length / 3;
  const survey = surveyPoints(parts.positions);
  refuseUseless(parts, survey.finiteCount, survey.bounds);
  let { positions } = parts;
  let normals = parts.normals ?? null;
  let colors = parts.colors ?? null;
  const properties: Record<string, Float32Array> = { ...parts.properties };
  let recordOfPoint: Uint32Array | null = null;
  if (survey.finiteCount < pointsRead) {
    recordOfPoint = finiteRecords(positions, survey.finiteCount);
    positions = gather(positions, recordOfPoint, 3);
    normals = normals && gather(normals, recordOfPoint, 3);
    colors = colors && gather(colors, recordOfPoint, 3);
    for (const name of Object.keys(properties)) properties[name] = gather(properties[name], recordOfPoint, 1);
  }
  const pointsDropped = pointsRead - survey.finiteCount;
  const kept = faces ? keepTriangles(faces, pointsRead, recordOfPoint) : null;
  const counts: ScanCounts = {
    pointsStated: parts.pointsStated,
    pointsRead,
    pointsDropped,
    facesStated: parts.facesStated ?? null,
    facesRead: faces?.faceCount ?? 0,
    facesDropped: (kept?.facesDropped ?? 0) + (faces?.shortFaceCount ?? 0),
    trianglesDropped: kept?.trianglesDropped ?? 0,
    trianglesWithoutArea: kept?.trianglesWithoutArea ?? 0,
    cornersWelded: parts.cornersWelded ?? 0,
  };
  report(counts, findings);
  const rough = faces?.roughPolygonCount ?? 0;
  if (rough > 0) {
    findings.add(
      'warning',
      'scan-polygons-rough',
      `${countOf(rough, 'polygon')} with thousands of corners could not be cut with care.`,
      'Export the mesh as triangles; look at the surface there.',
    );
  }
  reportFewPoints(survey.finiteCount, survey.bounds, findings);
  return {
    name: parts.name,
    format: parts.format,
    encoding: parts.encoding,
    statedUnit: parts.statedUnit,
    positions,
    normals,
    colors,
    triangles: kept && kept.triangles.length > 0 ? kept.triangles : null,
    viewDirection: parts.viewDirection ?? null,
    properties,
    recordOfPoint,
    faceOfTriangle: kept?.faceOfTriangle ?? null,
    bounds: survey.bounds,
    counts,
    findings: findings.items,
  };
}

/** No length in any unit that a person would export; such numbers come from damaged or shifted bytes. */
const ABSURD = 1e30;

function refuseUseless(parts: ReadParts, finiteCount: number, bounds: { min: Vec3; max: Vec3 }): void {
  const read = parts.positions.length / 3;
  if (finiteCount === 0) {
    throw new FormatError(
      'scan-without-points',
      read === 0 ? `${parts.name} holds no points.` : `${parts.name}: none of ${read} points has finite coordinates.`,
      'Export the scan again, and check that something was selected.',
      { file: parts.name },
    );
  }
  if ([...bounds.min, ...bounds.max].some((value) => Math.abs(value) > ABSURD)) {
    throw new FormatError(
      'scan-coordinates-absurd',
      `${parts.name}: coordinates reach ${Math.max(...bounds.min.map(Math.abs), ...bounds.max.map(Math.abs)).toExponential(1)}; the data are not what the header says.`,
      'The file was damaged in transfer (text mode) or cut; copy or export it again.',
      { file: parts.name },
    );
  }
}

function reportFewPoints(finiteCount: number, bounds: { min: Vec3; max: Vec3 }, findings: ReadFindings): void {
  const { min, max } = bounds;
  if (finiteCount < 3) {
    findings.add(
      'warning',
      'scan-too-few-points',
      `Only ${countOf(finiteCount, 'point')}: nothing can be aligned to that.`,
      'Export the whole scan.',
    );
  } else if (min.every((value, k) => value === max[k])) {
    findings.add(
      'warning',
      'scan-points-all-equal',
      `All ${finiteCount} points are at one place: nothing can be aligned to that.`,
      'Export the scan again.',
    );
  }
}

function surveyPoints(positions: Float32Array | Float64Array): {
  finiteCount: number;
  bounds: { min: Vec3; max: Vec3 };
} {
  let minX = Number.POSITIVE_INFINITY;
  let minY = minX;
  let minZ = minX;
  let maxX = Number.NEGATIVE_INFINITY;
  let maxY = maxX;
  let maxZ = maxX;
  let finiteCount = 0;
  for (let i = 0; i < positions.length; i += 3) {
    const x = positions[i];
    const y = positions[i + 1];
    const z = positions[i + 2];
    // x - x is 0 for finite x and NaN otherwise.
    if (!(x - x + (y - y) + (z - z) === 0)) continue;
    finiteCount++;
    if (x < minX) minX = x;
    if (x > maxX) maxX = x;
    if (y < minY) minY = y;
    if (y > maxY) maxY = y;
    if (z < minZ) minZ = z;
    if (z > maxZ) maxZ = z;
  }
  if (finiteCount === 0) return { finiteCount, bounds: { min: [0, 0, 0], max: [0, 0, 0] } };
  return { finiteCount, bounds: { min: [minX, minY, minZ], max: [maxX, maxY, maxZ] } };
}

function finiteRecords(positions: Float32Array | Float64Array, finiteCount: number): Uint32Array {
  const records = new Uint32Array(finiteCount);
  let at = 0;
  for (let i = 0; 3 * i < positions.length; i++) {
    if (
      Number.isFinite(positions[3 * i]) &&
      Number.isFinite(positions[3 * i + 1]) &&
      Number.isFinite(positions[3 * i + 2])
    ) {
      records[at++] = i;
    }
  }
  return records;
}

function gather<T extends Float32Array | Float64Array | Uint8Array>(values: T, records: Uint32Array, width: number): T {
  for (let i = 0; i < records.length; i++) {
    for (let k = 0; k < width; k++) values[width * i + k] = values[width * records[i] + k];
  }
  return values.slice(0, width * records.length) as T;
}

function keepTriangles(
  faces: FaceCollector,
  pointsRead: number,
  recordOfPoint: Uint32Array | null,
): {
  triangles: Uint32Array;
  faceOfTriangle: Uint32Array | null;
  facesDropped: number;
  trianglesDropped: number;
  trianglesWithoutArea: number;
} {
  const indices = faces.triangles.values;
  const length = faces.triangles.length;
  let faceOf = faces.faceOfTriangle();
  let pointOfRecord: Uint32Array | null = null;
  if (recordOfPoint) {
    pointOfRecord = new Uint32Array(pointsRead).fill(NO_VERTEX);
    for (let i = 0; i < recordOfPoint.length; i++) pointOfRecord[recordOfPoint[i]] = i;
  }
  let at = 0;
  let facesDropped = 0;
  let trianglesDropped = 0;
  let trianglesWithoutArea = 0;
  let lastFaceDropped = -1;
  for (let i = 0; i < length; i += 3) {
    let a = indices[i];
    let b = indices[i + 1];
    let c = indices[i + 2];
    let drop = false;
    if (a >= pointsRead || b >= pointsRead || c >= pointsRead) {
      const face = faceOf ? faceOf[i / 3] : i / 3;
      if (face !== lastFaceDropped) facesDropped++;
      lastFaceDropped = face;
      drop = true;
    } else if (pointOfRecord) {
      a = pointOfRecord[a];
      b = pointOfRecord[b];
      c = pointOfRecord[c];
      if (a === NO_VERTEX || b === NO_VERTEX || c === NO_VERTEX) {
        trianglesDropped++;
        drop = true;
      }
    }
    if (drop) {
      if (!faceOf) {
        faceOf = new Uint32Array(length / 3);
        for (let k = 0; k < at / 3; k++) faceOf[k] = k;
        for (let k = i / 3; k < length / 3; k++) faceOf[k] = k;
      }
      continue;
    }
    if (a === b || b === c || c === a) trianglesWithoutArea++;
    indices[at] = a;
    indices[at + 1] = b;
    indices[at + 2] = c;
    if (faceOf) faceOf[at / 3] = faceOf[i / 3];
    at += 3;
  }
  return {
    triangles: at === indices.length ? indices : indices.slice(0, at),
    faceOfTriangle: faceOf && faceOf.length > at / 3 ? faceOf.slice(0, at / 3) : faceOf,
    facesDropped,
    trianglesDropped,
    trianglesWithoutArea,
  };
}

function report(counts: ScanCounts, findings: ReadFindings): void {
  if (counts.pointsDropped > 0) {
    findings.add(
      'note',
      'scan-points-not-finite',
      `${countOf(counts.pointsDropped, 'point')} of ${counts.pointsRead} without finite coordinates left out` +
        (counts.trianglesDropped > 0 ? `, and ${countOf(counts.trianglesDropped, 'triangle')} that used them.` : '.'),
      'Usual for samples the instrument missed; look at the export if there are many.',
    );
  }
  if (counts.facesDropped > 0) {
    findings.add(
      'warning',
      'scan-faces-invalid',
      `${countOf(counts.facesDropped, 'face')} of ${counts.facesRead} left out: they point to vertices that the file does not hold, or have fewer than three corners.`,
      'Export the mesh again; what is left may have holes.',
    );
  }
  if (counts.trianglesWithoutArea > 0) {
    findings.add(
      'note',
      'scan-triangles-without-area',
      `${countOf(counts.trianglesWithoutArea, 'triangle')} with two corners in one vertex kept.`,
      'They have no area and change no result.',
    );
  }
}
