import type { Finding } from '../base/index.ts';
import type { Pose, Vec3 } from '../math/index.ts';
import type { AlignmentResult, Bounds } from '../model/index.ts';

/** What the report says of one scan. Lengths mm. */
export interface ReportScan {
  readonly id: string;
  readonly name: string;
  readonly session: string;
  readonly frame: string;
  readonly instrument: string;
  readonly points: number;
  readonly triangles: number;
  readonly unit: string;
  readonly bounds: Bounds;
  readonly sha256: string;
}

/** Targets or probed points of one file. */
export interface ReportList {
  readonly name: string;
  readonly session: string;
  readonly frame: string;
  readonly kind: 'targets' | 'probe';
  readonly count: number;
  readonly sha256: string;
}

/** A surface to draw: a scan, or the fused surface. */
export interface ReportSurface {
  readonly id: string;
  readonly origin: Vec3;
  readonly positions: Float32Array;
  readonly triangles: Uint32Array | null;
  readonly jobFromItem: Pose;
}

/** The fused surface as the report shows it. */
export interface ReportFused {
  readonly surface: ReportSurface;
  readonly resolution: number;
  /** Index of the dominant scan per vertex, into `scans`. */
  readonly dominantScan: Uint8Array | Uint16Array | Int32Array;
  /** Expanded uncertainty (k = 2) of the worst direction per vertex, mm; NaN where unknown. */
  readonly expandedUncertainty: Float32Array;
  /** The part of it (k = 2) that comes from how the frames are tied, mm: it grows with the distance from the ties. */
  readonly placementUncertainty: Float32Array;
  readonly colors: Uint8Array | null;
  /** Name, value with unit, and what it means: rows of the quality table. */
  readonly quality: readonly { readonly name: string; readonly value: string; readonly meaning: string }[];
}

/** How a frame lies to a known truth: demo and simulation only. */
export interface ReportTruthRow {
  readonly frame: string;
  readonly rms: number;
  readonly farEnd: number;
  readonly angleDeg: number;
  /** Deviation in units of the stated standard uncertainty (root mean square over six parameters). */
  readonly normalized: number | null;
  /** Stated expanded uncertainty (k = 2) at the far end, mm. */
  readonly farEndExpanded: number | null;
}

/** How the uncertainty of a frame's placement runs over its own scans, k = 2, mm. */
export interface ReportReach {
  readonly frame: string;
  readonly least: number;
  readonly largest: number;
}

/** Everything a report is made of; no clock, no file access. */
export interface ReportInput {
  readonly jobName: string;
  readonly version: string;
  readonly seed: number;
  /** ISO 8601 date, given by the caller. */
  readonly date: string;
  readonly scans: readonly ReportScan[];
  readonly lists: readonly ReportList[];
  readonly alignment: AlignmentResult | null;
  readonly reaches: readonly ReportReach[];
  readonly surfaces: readonly ReportSurface[];
  readonly fused: ReportFused | null;
  readonly findings: readonly Finding[];
  readonly truth: {
    readonly frames: readonly ReportTruthRow[];
    readonly rows: readonly (readonly [string, string])[];
  } | null;
  /** Commands that led here, for repeating it. */
  readonly commands: readonly string[];
}
