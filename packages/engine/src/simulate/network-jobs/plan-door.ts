import type { Random } from '../../base/index.ts';
import {
  type AnalyticSheet,
  type CapturedRegion,
  heightOfBumps,
  samplePlaces,
  scatterBumps,
} from './analytic-sheet.ts';
import { type NetworkPlan, spreadChoice } from './network-plan.ts';

/** Half of an opening of 600 x 400 mm, and the radius of its corners. */
const HALF_OPENING: readonly [number, number] = [300, 200];
const CORNER = 90;
/** The flange goes from 20 mm inside the edge to 40 mm outside and 30 mm deep. */
const INNER = -20;
const OUTER = 40;
const DEPTH = 30;

/** Distance from the edge of the opening, positive outside it, mm. */
function fromOpening(u: number, v: number): number {
  const x = Math.abs(u) - HALF_OPENING[0] + CORNER;
  const y = Math.abs(v) - HALF_OPENING[1] + CORNER;
  return Math.hypot(Math.max(x, 0), Math.max(y, 0)) + Math.min(Math.max(x, y), 0) - CORNER;
}

function wall(place: (u: number, v: number) => readonly [number, number, number]): AnalyticSheet {
  return {
    side: 1,
    place: (u, v, out) => {
      out.set(place(u, v));
    },
  };
}

/**
 * One opening in a curved face, and a room behind it: the session inside overlaps the one outside only on the flange, 60 mm
 * around an opening of 600 x 400 mm, and reaches 1.8 m away from it.
 *
 * @param stripWidth width of the overlap, mm; more than 60 goes on over the face
 */
export function planDoorNetwork(stripWidth: number, random: Random): NetworkPlan {
  const bumps = scatterBumps([-700, -600], [900, 600], 400, [80, 120], [5, 15], random);
  const face: AnalyticSheet = {
    side: 1,
    place: (u, v, out) => {
      const t = (fromOpening(u, v) - INNER) / (OUTER - INNER);
      const flange = t <= 0 ? DEPTH : t >= 1 ? 0 : (DEPTH / 2) * (1 + Math.cos(Math.PI * t));
      out[0] = u;
      out[1] = flange + (u * u) / 6000 + (v * v) / 9000 + heightOfBumps(bumps, u, v, 0);
      out[2] = v;
    },
  };
  const strip = INNER + stripWidth;
  const everywhere = { from: [-700, -600] as const, to: [900, 600] as const };
  const around: CapturedRegion = {
    sheet: face,
    from: [-HALF_OPENING[0] - strip, -HALF_OPENING[1] - strip],
    to: [HALF_OPENING[0] + strip, HALF_OPENING[1] + strip],
    spacing: 4,
    isSeen: (u, v) => {
      const d = fromOpening(u, v);
      return d >= INNER && d <= strip;
    },
  };
  const beyond: CapturedRegion = {
    ...everywhere,
    sheet: face,
    spacing: 30,
    isSeen: (u, v) => fromOpening(u, v) > strip,
  };
  const all = (): boolean => true;
  const floor = wall((u, v) => [u, 200 + v, -600 + 10 * Math.sin(u / 150)]);
  const back = wall((u, v) => [u, 1800 - (u * u) / 4000, v]);
  const room: CapturedRegion[] = [
    { sheet: floor, from: [-700, 0], to: [900, 1500], spacing: 45, isSeen: all },
    { sheet: back, from: [-700, -600], to: [900, 600], spacing: 45, isSeen: all },
  ];
  const outside = [around, beyond];
  const inside = [around, ...room];
  const check = (regions: readonly CapturedRegion[]): Float64Array =>
    spreadChoice(
      samplePlaces(
        regions.map((region) => ({ ...region, spacing: 150 })),
        random,
      ),
      24,
    );
  return {
    family: 'door',
    targets: [],
    sessions: [
      {
        frame: 'outside',
        instrument: 'tracked',
        noise: 0.04,
        reach: 150,
        scaleSigma: 15e-6,
        temperature: 23.4,
        regions: outside,
        targets: [],
        targetSigma: 0,
        checkPoints: check(outside),
      },
      {
        frame: 'inside',
        instrument: 'structured-light',
        noise: 0.05,
        reach: 190,
        scaleSigma: 40e-6,
        temperature: 23.1,
        regions: inside,
        targets: [],
        targetSigma: 0,
        checkPoints: check(inside),
      },
    ],
  };
}
