import type { CapturedRegion, TruePlaces } from './analytic-sheet.ts';

/** What one session of a simulated network captures, object coordinates, mm. */
export interface PlannedSession {
  readonly frame: string;
  /** Instruments of the same name share one scale error. */
  readonly instrument: string;
  /** Standard deviation of a point along its normal; half of its variance is white, half correlated. */
  readonly noise: number;
  /** Half of what the instrument sees at once: its errors hang together within that. */
  readonly reach: number;
  /** Standard uncertainty of the instrument's scale. */
  readonly scaleSigma: number;
  readonly temperature: number;
  /** Scanned surface; empty where only targets are measured. */
  readonly regions: readonly CapturedRegion[];
  /** Numbers of the planned targets that it measures. */
  readonly targets: readonly number[];
  /** Standard deviation of each coordinate of a target. */
  readonly targetSigma: number;
  /** Places whose coordinates in the result are checked: all over what the session captured. */
  readonly checkPoints: Float64Array;
}

/** Places that a session's probe touches, corrected for its tip, on surface that another session scans. */
export interface PlannedProbe {
  readonly frame: string;
  readonly surfaceFrame: string;
  readonly places: readonly (readonly [number, number, number])[];
  /** Standard deviation of each coordinate. */
  readonly sigma: number;
}

/** A network to be simulated: one object, several sessions. The first session holds the job's frame. */
export interface NetworkPlan {
  readonly family: string;
  readonly sessions: readonly PlannedSession[];
  readonly targets: readonly (readonly [number, number, number])[];
  readonly probe: PlannedProbe | null;
}

/** Every n-th of some places, at most `count`. */
export function spreadChoice(places: TruePlaces, count: number): Float64Array {
  const available = places.places.length / 3;
  const chosen = Math.min(count, available);
  const out = new Float64Array(3 * chosen);
  for (let i = 0; i < chosen; i++) {
    const at = 3 * Math.floor(((i + 0.5) * available) / chosen);
    out.set(places.places.subarray(at, at + 3), 3 * i);
  }
  return out;
}
