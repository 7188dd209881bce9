import { formatLength, formatWithUncertainty } from '@lapjoint/engine';

/** Decimals that an uncertainty allows: two significant digits of it (JCGM 100:2008, 7.2.6). */
export function decimalsFor(expanded: number): number {
  if (!Number.isFinite(expanded) || expanded <= 0) return 3;
  return Math.max(0, Math.min(6, 1 - Math.floor(Math.log10(expanded))));
}

/** An uncertainty in mm with two significant digits. */
export function uncertaintyText(expanded: number): string {
  if (expanded === 0) return '0 mm';
  return Number.isFinite(expanded) ? `${expanded.toFixed(decimalsFor(expanded))} mm` : `${formatLength(expanded)} mm`;
}

/** A value in mm with its expanded uncertainty; digits follow the uncertainty. */
export function valueText(value: number, expanded: number): string {
  return formatWithUncertainty(value, expanded, 'mm');
}
