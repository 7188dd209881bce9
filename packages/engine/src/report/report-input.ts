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
  /** The part of it (k = 2) that scale and temperature add, mm; left out where no such term is known. */
  readonly scaleUncertainty?: Float32Array;
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

/** Where a frame's surfaces lie in the job, and how well that is known. Lengths mm, job frame. */
export interface ReportFramePlace {
  readonly frame: string;
  /** Middle of its surfaces. */
  readonly middle: Vec3;
  /** 3 x 3 row-major, mm^2, all parts together; null where it is not known or nothing moves (the datum). */
  readonly middleCovariance: readonly number[] | null;
  /** The place of the frame that is most uncertain. */
  readonly farEnd: Vec3 | null;
  readonly farEndCovariance: readonly number[] | null;
}

/** Where a tie lies, and how firmly the two frames hang together there by all ties of the network. */
export interface ReportTiePlace {
  readonly tie: string;
  readonly place: Vec3;
  /** U (k = 2, largest direction) of the one frame against the other there, mm; null where it is not known. */
  readonly hold: number | null;
}

/** An error of length that no residual shows. */
export interface ReportLengthTerm {
  readonly name: string;
  /** Standard uncertainty of the relative length. */
  readonly sigma: number;
  readonly frames: readonly string[];
  readonly isEstimated: boolean;
}

/** Temperature of a session. */
export interface ReportTemperature {
  readonly session: string;
  readonly material: string;
  /** Degrees Celsius, with its standard uncertainty. */
  readonly celsius: number;
  readonly celsiusUncertainty: number;
  /** 1/K, with its standard uncertainty. */
  readonly expansion: number;
  readonly expansionUncertainty: number;
}

/** One tie that would help, as the report shows it. */
export interface ReportAdvisedTie {
  readonly words: string;
  readonly remark: string;
  /** U (k = 2) of the worst place with it, and the largest anywhere then, mm. */
  readonly after: { readonly total: number };
  readonly largestAfter: number;
}

/** What would help most. */
export interface ReportAdvice {
  readonly worst: { readonly words: string; readonly uncertainty: { readonly total: number } } | null;
  readonly candidates: readonly ReportAdvisedTie[];
  readonly remark: string;
}

/** What is known about trust beside the alignment itself; every part may be missing. */
export interface ReportTrust {
  readonly framePlaces: readonly ReportFramePlace[];
  readonly tiePlaces: readonly ReportTiePlace[];
  readonly lengthTerms: readonly ReportLengthTerm[];
  readonly temperatures: readonly ReportTemperature[];
  /** Largest length of the job's surfaces, mm: what a relative error is shown over. */
  readonly largestLength: number | null;
  readonly advice: ReportAdvice | null;
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
  /** Left out by early jobs. */
  readonly trust?: ReportTrust;
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
