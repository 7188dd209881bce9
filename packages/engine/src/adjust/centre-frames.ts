import { invert, subtract, transformPoint, type Vec3 } from '../math/index.ts';
import type { AdjustableObservation, OverlapObservation } from '../model/index.ts';
import type { NetworkFrame } from './network-frame.ts';

const ORIGIN: Vec3 = [0, 0, 0];

/** A place that an observation has in a frame; `arm`: rms distance of what it stands for from there. */
export interface ObservedPlace {
  readonly frame: string;
  readonly at: Vec3;
  readonly arm: number;
}

/** Where an observation lies in each of its frames. */
export function observedPlaces(o: AdjustableObservation): ObservedPlace[] {
  switch (o.kind) {
    case 'target':
      return [{ frame: o.frame, at: o.position, arm: 0 }];
    case 'pair':
      return [
        { frame: o.frameA, at: o.a, arm: 0 },
        { frame: o.frameB, at: o.b, arm: 0 },
      ];
    case 'overlap': {
      const arm = overlapArm(o);
      return [
        { frame: o.frameA, at: transformPoint(invert(o.bFromA0), o.reference), arm },
        { frame: o.frameB, at: o.reference, arm },
      ];
    }
    case 'probe':
      return [
        { frame: o.frameA, at: o.point, arm: 0 },
        { frame: o.frameB, at: o.surfacePoint, arm: 0 },
      ];
    case 'relation':
      return [o.a, o.b, ...(o.plane ? [o.plane] : [])].map((f) => ({ frame: f.frame, at: f.point, arm: 0 }));
    default:
      return [];
  }
}

/** rms arm of an overlap about its reference: what its rotations weigh against its shifts. */
export function overlapArm(o: OverlapObservation): number {
  const h = o.information;
  const at = (i: number): number => h[7 * i] as number;
  const shift = at(0) + at(1) + at(2);
  return shift > 0 ? Math.sqrt(Math.max(0, at(3) + at(4) + at(5)) / shift) : 0;
}

/** Centre and radius of each frame: as stated, else of its observations. */
export function centreFrames(
  frames: readonly string[],
  stated: readonly NetworkFrame[],
  places: readonly ObservedPlace[],
): { centres: Vec3[]; radii: number[] } {
  const centres: Vec3[] = [];
  const radii: number[] = [];
  const byFrame = new Map<string, ObservedPlace[]>(frames.map((f) => [f, []]));
  for (const p of places) byFrame.get(p.frame)?.push(p);
  for (const name of frames) {
    const known = stated.find((f) => f.frame === name);
    const own = byFrame.get(name) as ObservedPlace[];
    const first = own[0]?.at ?? ORIGIN;
    const mean = [0, 1, 2].map(
      (k) =>
        (first[k] as number) +
        own.reduce((sum, p) => sum + ((p.at[k] as number) - (first[k] as number)), 0) / Math.max(1, own.length),
    ) as unknown as Vec3;
    const centre = known?.centre ?? mean;
    const square = own.reduce((sum, p) => {
      const d = subtract(p.at, centre);
      return sum + d[0] * d[0] + d[1] * d[1] + d[2] * d[2] + p.arm * p.arm;
    }, 0);
    centres.push(centre);
    radii.push(known?.radius ?? Math.sqrt(square / Math.max(1, own.length)));
  }
  // A frame with one observation has no size of its own: take the largest of the others.
  const largest = radii.reduce((a, b) => Math.max(a, b), 0);
  return { centres, radii: radii.map((r) => (r > 0 ? r : largest > 0 ? largest : 1)) };
}
