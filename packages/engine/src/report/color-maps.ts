import { interpolateCividis, interpolatePuOr } from 'd3-scale-chromatic';

/** Red, green, blue, 0 to 255. */
export type Rgb = readonly [number, number, number];

function parseColor(text: string): Rgb {
  const hex = /^#(..)(..)(..)$/.exec(text);
  if (hex) return [Number.parseInt(hex[1], 16), Number.parseInt(hex[2], 16), Number.parseInt(hex[3], 16)];
  const rgb = /^rgb\((\d+), (\d+), (\d+)\)$/.exec(text);
  if (rgb) return [Number(rgb[1]), Number(rgb[2]), Number(rgb[3])];
  throw new RangeError(`not a colour: ${text}`);
}

function table(interpolate: (t: number) => string): readonly Rgb[] {
  return Array.from({ length: 256 }, (_, i) => parseColor(interpolate(i / 255)));
}

/** Magnitudes, dark to light, even in lightness for all kinds of colour vision (Nunez 2018). */
export const CIVIDIS: readonly Rgb[] = table(interpolateCividis);

/** Signed values, purple below zero, orange above (ColorBrewer PuOr). */
export const PURPLE_ORANGE: readonly Rgb[] = table((t) => interpolatePuOr(1 - t));

/** Colour of a share 0 to 1 of a table of 256. */
export function colorAt(map: readonly Rgb[], share: number): Rgb {
  return map[Math.max(0, Math.min(255, Math.round(share * 255)))];
}

/** Muted sheet colours for scans; pattern and label always go with them. */
export const SCAN_COLORS: readonly Rgb[] = [
  [164, 184, 196],
  [214, 178, 120],
  [150, 176, 142],
  [196, 150, 160],
  [170, 160, 200],
  [126, 180, 176],
  [204, 196, 140],
  [180, 160, 140],
];

/** `#rrggbb`. */
export function cssColor(color: Rgb): string {
  return `#${color.map((c) => c.toString(16).padStart(2, '0')).join('')}`;
}
