import { normalize, subtract, type Vec3 } from '../math/index.ts';

/** A place of an instrument during a session and what it can see from there. Lengths mm, angles rad, model coordinates. */
export interface Station {
  readonly position: Vec3;
  /** Middle of the field of view; null: the instrument was turned all round there. */
  readonly direction: Vec3 | null;
  /** Half the opening angle of the field of view. */
  readonly halfAngle: number;
  readonly nearRange: number;
  readonly farRange: number;
}

/** Range and field of view shared by the stations of a session. */
export interface StationReach {
  readonly halfAngle: number;
  readonly nearRange: number;
  readonly farRange: number;
}

/** Stations at the nodes of a box-shaped grid, turned all round. */
export function stationGrid(
  x: readonly number[],
  y: readonly number[],
  z: readonly number[],
  reach: StationReach,
): Station[] {
  return z.flatMap((c) => y.flatMap((b) => x.map((a) => ({ ...reach, position: [a, b, c] as Vec3, direction: null }))));
}

/** A station that looks at a place. */
export function stationLookingAt(position: Vec3, place: Vec3, reach: StationReach): Station {
  return { ...reach, position, direction: normalize(subtract(place, position)) };
}

/** Stations on circles about the vertical through a centre, looking at that vertical. */
export function stationRings(
  centre: readonly [number, number],
  radius: number,
  heights: readonly number[],
  count: number,
  reach: StationReach,
): Station[] {
  return heights.flatMap((z, k) =>
    Array.from({ length: count }, (_, i) => {
      const angle = (2 * Math.PI * (i + 0.37 * k)) / count;
      const at: Vec3 = [centre[0] + radius * Math.cos(angle), centre[1] + radius * Math.sin(angle), z];
      return stationLookingAt(at, [centre[0], centre[1], z], reach);
    }),
  );
}
