import type { Pose, Vec3 } from '../math/index.ts';
import type { InstrumentErrors, JointCovariance, ScanData } from '../model/index.ts';

/** A scan of a frame with the frame's pose. */
export interface PlacedSurface {
  readonly scan: Pick<ScanData, 'origin' | 'positions' | 'normals' | 'triangles'>;
  readonly jobFromScan: Pose;
}

/** A frame that is placed, with samples of the surface that it captured. */
export interface AdviseFrame {
  readonly frame: string;
  /** Instrument under which its errors stand in `AdviseInput.errors`. */
  readonly instrument: string;
  /** Distance between neighbouring points of its scans, mm: how many points a patch holds. */
  readonly spacing: number;
  /** Places on its surfaces, xyz interleaved, job frame, mm; about 2000, spread evenly. */
  readonly places: Float64Array;
  /** Unit normals there, job frame. */
  readonly normals: Float64Array;
}

/** A tie that the network has already. */
export interface AdviseTie {
  readonly id: string;
  readonly frameA: string;
  readonly frameB: string;
  /** Its middle, job frame, mm. */
  readonly place: Vec3;
}

/** How `adviseTie` looks. Lengths mm. */
export interface AdviseOptions {
  /** Radius of an overlap patch that a session captures on purpose. */
  readonly patchRadius: number;
  /** Two frames have a place in common when both have surface within this distance of it. */
  readonly reach: number;
  /** Largest distance between two surfaces that one new scan joins: what an instrument sees at once. */
  readonly bridgeSpan: number;
  /** Instrument of the new scan of a bridge; null: that of the frame joined. */
  readonly bridgeInstrument: string | null;
  /** From an instrument to the surface. */
  readonly standOff: number;
  /** How far a person with an instrument moves it from where a session's instrument stood, through an opening too. */
  readonly armReach: number;
  /** Places looked at in each frame. */
  readonly placeCount: number;
  /** Most candidates given back. */
  readonly candidateCount: number;
}

/** What `adviseTie` needs. */
export interface AdviseInput {
  readonly covariance: JointCovariance;
  /** Names of terms that the adjustment estimates; the others only count in the covariance and stay as they are. */
  readonly estimatedTerms: readonly string[];
  /** Frame that is the job's. */
  readonly datum: string | null;
  readonly frames: readonly AdviseFrame[];
  readonly ties: readonly AdviseTie[];
  readonly errors: readonly InstrumentErrors[];
  /** Standard uncertainty of each coordinate of one measured target in one frame, mm. */
  readonly targetSigma: number;
  /** All placed surfaces, for lines of sight; left out, or without triangles: nearness stands for visibility. */
  readonly surfaces?: readonly PlacedSurface[];
  readonly options: Partial<AdviseOptions>;
}

/** Uncertainty of one place, k = 2, largest direction, mm. */
export interface PlaceUncertainty {
  readonly total: number;
  /** The part that better ties can lower. */
  readonly ties: number;
  /** The part that no tie lowers: scale and temperature terms that are not estimated. */
  readonly scale: number;
}

/** A place of a frame whose uncertainty is large, with its neighbours that are nearly as uncertain. */
export interface UncertainRegion {
  readonly frame: string;
  /** Worst sample, job frame, mm. */
  readonly place: Vec3;
  /** Unit vector along which it is most uncertain. */
  readonly direction: Vec3;
  readonly uncertainty: PlaceUncertainty;
  /** Largest distance of the region's samples from the worst one, mm. */
  readonly radius: number;
  /** From the middle of the datum frame's surfaces, mm; null without datum. */
  readonly distanceFromDatum: number | null;
  /** From the nearest tie of this frame, mm; null without one. */
  readonly distanceFromTie: number | null;
  readonly words: string;
}

/**
 * One tie that could be added.
 *
 * `target`: one target that both frames measure. `overlap`: a patch of `frameA`'s surface that `frameB` captures as well.
 * `bridge`: one new scan that captures a patch of each frame's surface.
 */
export interface AdviceCandidate {
  readonly kind: 'target' | 'overlap' | 'bridge';
  readonly frameA: string;
  readonly frameB: string;
  /** Job frame, mm. */
  readonly place: Vec3;
  /** Of a bridge: the patch on frame B. */
  readonly placeB: Vec3 | null;
  /** Of the patch, mm; null for a target. */
  readonly radius: number | null;
  /** Uncertainty of the worst place now and with the tie. */
  readonly before: PlaceUncertainty;
  readonly after: PlaceUncertainty;
  /** Largest total uncertainty anywhere with the tie, k = 2, mm, and where. */
  readonly largestAfter: number;
  readonly largestAfterFrame: string;
  readonly largestAfterPlace: Vec3;
  readonly words: string;
  /** What it needs on site, and what it cannot do. */
  readonly remark: string;
}

/** What would help most. */
export interface Advice {
  /** null when no frame but the datum is placed. */
  readonly worst: UncertainRegion | null;
  /** Best first: lowest uncertainty of the worst place; near twins left out. */
  readonly candidates: readonly AdviceCandidate[];
  /** In words: what no single tie does, or why there is nothing to advise. */
  readonly remark: string;
}
