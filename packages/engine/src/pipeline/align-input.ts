import type { ScaleTerm, ScanData, Target, Tie } from '../model/index.ts';

/** A scan that takes part in the alignment, with the frame it was captured in. */
export interface AlignScan {
  readonly id: string;
  readonly name: string;
  readonly frame: string;
  /** In the frame's coordinates, mm. */
  readonly data: ScanData;
  /** Standard deviation of a point along its normal from the instrument sheet, mm; null: estimated from the scan. */
  readonly noise: number | null;
  /** Scans of one instrument have errors of one kind; those without a name are taken as one. */
  readonly instrument?: {
    readonly name: string;
    /** Longest distance over which its errors hang together, mm: half of what it sees at once; null: the scan's radius. */
    readonly reach: number | null;
    /** Constant part of its length errors from the sheet, standard uncertainty, mm; 0: none stated. */
    readonly volumetric: number;
  };
}

/** A list of targets measured in one session. */
export interface AlignTargetList {
  readonly id: string;
  readonly name: string;
  readonly frame: string;
  readonly targets: readonly Target[];
}

/** Everything that `alignScans` looks at. */
export interface AlignInput {
  /** All frames, in the order in which they came in; the first that has data is the job's frame. */
  readonly frames: readonly string[];
  readonly scans: readonly AlignScan[];
  readonly targetLists: readonly AlignTargetList[];
  /** Picked pairs. Overlaps and common targets are found here. */
  readonly ties: readonly Tie[];
  /** Errors of length that no residual need show: instrument scale, temperature, expansion. None: not counted. */
  readonly scaleTerms?: readonly ScaleTerm[];
}
