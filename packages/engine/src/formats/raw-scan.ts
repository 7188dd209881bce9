import type { Finding, Severity } from '../base/index.ts';
import type { Vec3 } from '../math/index.ts';
import type { LengthUnit } from '../model/index.ts';

/** Formats of scans that can be read. `points-text`: columns of numbers (XYZ, CSV, TXT). */
export type ScanFormat = 'ply' | 'stl' | 'obj' | 'off' | 'pcd' | 'points-text';

/** How the numbers stand in the file. */
export type ScanEncoding = 'ascii' | 'binary-little-endian' | 'binary-big-endian' | 'binary-compressed';

/** What was in the file and what became of it. Counts never hide anything: read = kept + dropped. */
export interface ScanCounts {
  /** Points the file announces; null when it announces none. For STL: corners. */
  readonly pointsStated: number | null;
  readonly pointsRead: number;
  /** Points with a coordinate that is no finite number. */
  readonly pointsDropped: number;
  /** Faces the file announces; null when it announces none. */
  readonly facesStated: number | null;
  /** Faces read, before polygons are cut into triangles. */
  readonly facesRead: number;
  /** Faces that point to vertices the file does not hold, or have fewer than three. */
  readonly facesDropped: number;
  /** Triangles that used a dropped point. */
  readonly trianglesDropped: number;
  /** Triangles kept although two of their corners are one vertex: they have no area. */
  readonly trianglesWithoutArea: number;
  /** STL only: corners that became one vertex with an earlier corner of exactly the same coordinates. */
  readonly cornersWelded: number;
}

/**
 * Content of a scan file, in the file's own unit and axes.
 *
 * Units    the file's; `statedUnit` when the file names it. `toScanData` turns it into mm.
 * Layout   as ScanData. Float64Array where the file holds more than float32 can keep, else Float32Array.
 * Owner    whoever asked for it; nothing else holds its arrays.
 */
export interface RawScan {
  readonly name: string;
  readonly format: ScanFormat;
  readonly encoding: ScanEncoding;
  readonly statedUnit: LengthUnit | null;
  readonly positions: Float32Array | Float64Array;
  /** Unit normals as the file gives them, not checked for length. */
  readonly normals: Float32Array | null;
  readonly colors: Uint8Array | null;
  readonly triangles: Uint32Array | null;
  /** Unit vector from the object towards the instrument, where the file's sampling grid tells it. */
  readonly viewDirection: Vec3 | null;
  /** Further numbers of each point, by their name in the file; only those asked for. */
  readonly properties: Readonly<Record<string, Float32Array>>;
  /** Record in the file of each point; null when point i is record i. */
  readonly recordOfPoint: Uint32Array | null;
  /** Face in the file of each triangle; null when triangle i is face i. For STL: facets in file order. */
  readonly faceOfTriangle: Uint32Array | null;
  /** Box of the points, in the file's unit; zeros when there are none. */
  readonly bounds: { readonly min: Vec3; readonly max: Vec3 };
  readonly counts: ScanCounts;
  readonly findings: readonly Finding[];
}

/** Choices of a reader. */
export interface ReadScanOptions {
  /** Id for the findings; the source's name when left out. */
  readonly subject?: string;
  /**
   * STL corners: `exact` joins those of exactly the same coordinates (the default, since a mesh without shared
   * vertices has no neighbourhood), `none` keeps three vertices a facet.
   */
  readonly weld?: 'exact' | 'none';
  /** Names of further properties to keep, or `all`; none when left out, because each costs 4 bytes a point. */
  readonly properties?: readonly string[] | 'all';
}

/** Findings of one read, all about the same subject. */
export class ReadFindings {
  readonly subject: string;
  readonly items: Finding[] = [];

  constructor(subject: string) {
    this.subject = subject;
  }

  add(severity: Severity, code: string, message: string, remedy: string): void {
    this.items.push({ severity, code, subject: this.subject, message, remedy });
  }
}

/** Number of things in words: `1 face`, `2 faces`. */
export function countOf(count: number, singular: string, plural: string = singular + 's'): string {
  return `${count} ${count === 1 ? singular : plural}`;
}
