import { type Station, type StationReach, stationGrid, stationLookingAt, stationRings } from '../station.ts';
import type { SurfaceNoise } from '../surface-noise.ts';

/** Description of a class of instrument, as the tool's user would state it. Lengths mm. */
export interface SimulatedInstrument {
  readonly kind: 'tracked-laser' | 'handheld-laser' | 'structured-light' | 'touch-probe';
  readonly noise: SurfaceNoise;
  /** Standard deviation of each coordinate of a target, mm; null: measures none. */
  readonly targetSigma: number | null;
}

/** Instruments of the demo. Half or more of their noise is correlated, as with real ones. */
export const CABIN_INSTRUMENTS: Readonly<Record<'outside' | 'mechanism' | 'inside' | 'pins', SimulatedInstrument>> = {
  outside: {
    kind: 'tracked-laser',
    noise: {
      white: 0.05,
      correlated: [
        { sigma: 0.035, length: 40 },
        { sigma: 0.02, length: 400 },
      ],
    },
    targetSigma: 0.03,
  },
  mechanism: {
    kind: 'handheld-laser',
    noise: { white: 0.035, correlated: [{ sigma: 0.03, length: 30 }] },
    targetSigma: 0.015,
  },
  inside: {
    kind: 'structured-light',
    noise: {
      white: 0.035,
      correlated: [
        { sigma: 0.035, length: 60 },
        { sigma: 0.02, length: 500 },
      ],
    },
    targetSigma: null,
  },
  pins: { kind: 'touch-probe', noise: { white: 0.02, correlated: [] }, targetSigma: null },
};

function range(from: number, to: number, count: number): number[] {
  return Array.from({ length: count }, (_, i) => (count === 1 ? from : from + ((to - from) * i) / (count - 1)));
}

function lookingDown(station: Station): Station {
  return { ...station, direction: [0, 0, -1], halfAngle: 1.2 };
}

/** Where the tracked laser was carried: all round, above, and to the open door, never inside. */
export function outsideStations(): Station[] {
  const reach: StationReach = { halfAngle: Math.PI, nearRange: 250, farRange: 1150 };
  const heights = range(-1000, 1000, 5);
  const through: StationReach = { halfAngle: 0.6, nearRange: 300, farRange: 1500 };
  return [
    ...stationGrid(range(-1500, 1500, 7), [-1750, 1750], heights, reach),
    ...stationGrid([-2350, 2350], range(-900, 900, 5), heights, reach),
    ...stationGrid([-2150, 2150], [-1550, 1550], heights, reach),
    ...stationGrid(range(-1500, 1500, 6), [-1550, 1550], [-1480], reach),
    ...stationGrid([-2150, 2150], range(-700, 700, 3), [-1480], reach),
    ...stationGrid(range(-1500, 1500, 7), range(-900, 900, 5), [1950], reach).map(lookingDown),
    ...stationGrid([-2000, 2000], range(-700, 700, 3), [1700], reach).map(lookingDown),
    ...stationGrid(range(-1300, 1300, 5), [-1450, 1450], [1700], reach).map(lookingDown),
    ...stationRings([0, 0], 650, [1560], 7, { ...reach, halfAngle: 0.6, farRange: 800 }),
    // The door's two faces and its edge.
    ...stationGrid([-2300], [-1250, -1700, -2100], heights, reach),
    ...stationGrid([-1060], [-1350, -1800], heights, reach),
    ...stationGrid([-1750], [-2500], heights, reach),
    // Through the open door.
    stationLookingAt([-990, -1150, -450], [-960, 0, -700], through),
    stationLookingAt([-990, -1150, 350], [-960, 0, 200], through),
    stationLookingAt([-1080, -1150, 120], [-1300, -300, -350], { ...through, farRange: 1200 }),
    stationLookingAt([-990, -1150, -150], [-900, 950, -150], { ...through, halfAngle: 0.3, farRange: 2250 }),
  ];
}

/** Where the handheld laser was moved: round arm and grip, and over the middle of the roof. */
export function mechanismStations(): Station[] {
  const reach: StationReach = { halfAngle: Math.PI, nearRange: 150, farRange: 640 };
  return [
    ...stationRings([0, 150], 520, range(1460, 3000, 7), 9, reach),
    ...stationRings([0, 60], 620, [2500, 3250], 7, reach),
    ...stationGrid([-300, 0, 300], [-200, 80, 360], [3350], reach),
    ...stationGrid(range(-800, 800, 6), [-500, -250, 250, 500], [1640], reach),
    ...stationGrid([-700, -400, 400, 700], [0], [1640], reach),
    ...stationGrid([-260, 260], [0, 220], [1900, 2300, 2560], reach),
  ];
}

/** Where the structured-light instrument stood: all over the inside, and in the open door. */
export function insideStations(): Station[] {
  const reach: StationReach = { halfAngle: Math.PI, nearRange: 220, farRange: 950 };
  return [
    ...stationGrid(range(-1220, 1050, 7), [-600, -150, 320], range(-750, 880, 5), reach),
    ...stationGrid([-1100, -450, 150, 850], [420], [-940], reach),
    ...stationGrid([950], [-350, 100, 500], [-930], reach),
    ...stationGrid([-1000], [-1080, -1340], range(-800, 650, 4), reach),
    stationLookingAt([-1130, -1560, -500], [-1620, -1700, -500], { ...reach, halfAngle: 0.9 }),
    stationLookingAt([-1130, -1560, 300], [-1620, -1700, 300], { ...reach, halfAngle: 0.9 }),
  ];
}

/** From where the tracked laser measured targets: four places above the roof. */
export function targetStations(): Station[] {
  const reach: StationReach = { halfAngle: Math.PI, nearRange: 250, farRange: 900 };
  return stationGrid([-750, 750], [-500, 500], [1850], reach);
}
