import type { Tessellation } from './solid-mesh.ts';

/** A stretch of a coordinate in which the surface is curved with this radius, mm. */
export interface CurvedStretch {
  readonly from: number;
  readonly to: number;
  readonly radius: number;
}

/**
 * Cuts a coordinate into steps no longer than the spacing, shorter where the surface is curved.
 *
 * Method   a chord of length s over a radius r leaves the arc by s^2 / (8 r).
 *
 * @returns ascending, first `from`, last `to`, with every end of a stretch among them
 */
export function gridLines(
  from: number,
  to: number,
  stretches: readonly CurvedStretch[],
  tessellation: Tessellation,
): number[] {
  const inside = (x: number): boolean => x > from + 1e-9 && x < to - 1e-9;
  const breaks = [from, to, ...stretches.flatMap((s) => [s.from, s.to]).filter(inside)].sort((a, b) => a - b);
  const lines = [from];
  for (let k = 1; k < breaks.length; k++) {
    const a = breaks[k - 1];
    const b = breaks[k];
    if (b - a < 1e-6) continue;
    let step = tessellation.spacing;
    for (const s of stretches) {
      if (s.from < b - 1e-9 && s.to > a + 1e-9) step = Math.min(step, Math.sqrt(8 * s.radius * tessellation.chord));
    }
    const count = Math.max(1, Math.ceil((b - a) / step - 1e-9));
    for (let i = 1; i <= count; i++) lines.push(i === count ? b : a + ((b - a) * i) / count);
  }
  return lines;
}

/** Number of steps around a circle: an even number, at least 8. */
export function stepsAround(radius: number, angle: number, tessellation: Tessellation): number {
  const step = Math.min(tessellation.spacing / radius, 2 * Math.acos(Math.max(0, 1 - tessellation.chord / radius)));
  const least = angle > 6 ? 8 : 1;
  return Math.max(least, 2 * Math.ceil(angle / step / 2));
}
