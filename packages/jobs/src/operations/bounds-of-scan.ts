import type { ScanData, Vec3 } from '@lapjoint/engine';

/** Box of the points, mm, in the scan's frame. */
export function boundsOfScan({ origin, positions }: ScanData): { min: Vec3; max: Vec3 } {
  const low = [Infinity, Infinity, Infinity];
  const high = [-Infinity, -Infinity, -Infinity];
  for (let i = 0; i < positions.length; i++) {
    const value = positions[i] as number;
    const axis = i % 3;
    if (value < (low[axis] as number)) low[axis] = value;
    if (value > (high[axis] as number)) high[axis] = value;
  }
  const place = (corner: number[]): Vec3 => [
    origin[0] + (corner[0] as number),
    origin[1] + (corner[1] as number),
    origin[2] + (corner[2] as number),
  ];
  return { min: place(low), max: place(high) };
}
