import type { Random } from '../../base/index.ts';
import {
  type AnalyticSheet,
  type CapturedRegion,
  heightOfBumps,
  samplePlaces,
  scatterBumps,
} from './analytic-sheet.ts';
import { type NetworkPlan, type PlannedProbe, spreadChoice } from './network-plan.ts';

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

/** What ties both sessions of a door network. Lengths mm. */
export interface DoorNetwork {
  readonly family: string;
  /** Width of the overlap around the opening; more than 60 goes on over the face. */
  readonly stripWidth: number;
  /** Targets around the opening that both sessions measure. */
  readonly targetCount: number;
  /** Spots on the floor and the back of the room that the probe of the outer session touches. */
  readonly probedCount: number;
  /** Both sessions scan a patch of this width on the back of the room besides, through a hatch; 0: none. */
  readonly backPatch: number;
  /** Check the far corner of the room alone. */
  readonly onlyFarEnd: boolean;
}

/** A target every so many degrees around the opening, on the flange or the face beside it. */
function targetsAround(count: number, place: AnalyticSheet['place'], random: Random): [number, number, number][] {
  const out = new Float64Array(3);
  return Array.from({ length: count }, (_, k) => {
    const angle = (2 * Math.PI * (k + 0.6 * random.uniform())) / count;
    const [c, s] = [Math.cos(angle), Math.sin(angle)];
    let reach = 0;
    while (fromOpening(reach * c, reach * s) < 25) reach += 1;
    place(reach * c, reach * s, out);
    return [out[0], out[1], out[2]];
  });
}

/**
 * One opening in a curved face, and a room behind it: the session inside overlaps the one outside only on the flange, 60 mm
 * around an opening of 600 x 400 mm, and reaches 1.8 m away from it. Targets and a probe may tie them besides.
 */
export function planDoorNetwork(network: DoorNetwork, random: Random): NetworkPlan {
  const { family, stripWidth, targetCount, probedCount, backPatch, onlyFarEnd } = network;
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
  // Spots in turn on floor and back; around each the scan is as dense as on the flange.
  const out = new Float64Array(3);
  const spots = Array.from({ length: probedCount }, (_, k) => {
    const sheet = k % 2 === 0 ? floor : back;
    const u = -500 + 1200 * random.uniform();
    const v = k % 2 === 0 ? 300 + 1000 * random.uniform() : -400 + 800 * random.uniform();
    sheet.place(u, v, out);
    const place: [number, number, number] = [out[0], out[1], out[2]];
    const region: CapturedRegion = { sheet, from: [u - 14, v - 14], to: [u + 14, v + 14], spacing: 4, isSeen: all };
    return { place, region };
  });
  const probe: PlannedProbe | null =
    probedCount === 0
      ? null
      : { frame: 'outside', surfaceFrame: 'inside', places: spots.map(({ place }) => place), sigma: 0.025 };
  const targets = targetsAround(targetCount, face.place, random);
  const seen = targets.map((_, k) => k);
  const patch: CapturedRegion[] =
    backPatch === 0
      ? []
      : [
          {
            sheet: back,
            from: [300, 100],
            to: [300 + backPatch, 100 + backPatch],
            spacing: 4,
            isSeen: all,
          },
        ];
  const outside = [around, beyond, ...patch];
  const inside = [around, ...patch, ...room, ...spots.map(({ region }) => region)];
  const check = (regions: readonly CapturedRegion[]): Float64Array =>
    spreadChoice(
      samplePlaces(
        regions.map((region) => ({ ...region, spacing: 150 })),
        random,
      ),
      24,
    );
  return {
    family,
    targets,
    probe,
    sessions: [
      {
        frame: 'outside',
        instrument: 'tracked',
        noise: 0.04,
        reach: 150,
        scaleSigma: 15e-6,
        temperature: 23.4,
        regions: outside,
        targets: seen,
        targetSigma: 0.04,
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
        targets: seen,
        targetSigma: 0.06,
        checkPoints: onlyFarEnd ? Float64Array.of(900, 1600, 600) : check([around, ...room]),
      },
    ],
  };
}
