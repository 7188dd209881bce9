/** Options of `alignScans`. */
export interface AlignOptions {
  /** Rounds of measuring all overlaps and adjusting all frames. */
  readonly maxRounds: number;
  /** The frames have settled when no point moves by more than this share of the noise. */
  readonly settledShare: number;
  /** The same for a swing to and fro that does not get smaller. */
  readonly swingShare: number;
}

/**
 * 40 rounds: overlaps of real scans settle within fifteen; more are reported as not settled. A hundredth of the noise: far below
 * anything that can be seen or matters; a swing of a tenth is still far below the stated uncertainty.
 */
export const ALIGN_DEFAULTS: AlignOptions = { maxRounds: 40, settledShare: 0.01, swingShare: 0.1 };
