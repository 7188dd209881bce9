/**
 * A measured value with its expanded uncertainty, digits following the uncertainty (two significant digits of U, JCGM 100:2008, 7.2.6).
 * For example `12.346 mm ± 0.008 mm (k = 2)`.
 */
export function formatWithUncertainty(value: number, expanded: number, unit: string): string {
  if (!Number.isFinite(expanded) || expanded <= 0) return `${formatLength(value)} ${unit} (uncertainty not known)`;
  const decimals = Math.max(0, Math.min(9, 1 - Math.floor(Math.log10(expanded))));
  return `${value.toFixed(decimals)} ${unit} ± ${expanded.toFixed(decimals)} ${unit} (k = 2)`;
}

/** A number with three significant digits, never in exponent form for lengths a workshop meets. */
export function formatLength(value: number): string {
  if (!Number.isFinite(value)) return 'not known';
  const size = Math.abs(value);
  if (size === 0) return '0';
  if (size < 1e-6) return value.toExponential(1);
  const decimals = Math.max(0, Math.min(8, 2 - Math.floor(Math.log10(size))));
  return value.toFixed(decimals);
}

/** An uncertainty: two significant digits, more would say nothing (JCGM 100:2008, 7.2.6). */
export function formatUncertainty(value: number): string {
  if (!Number.isFinite(value)) return 'not known';
  if (value === 0) return '0';
  if (Math.abs(value) < 1e-6) return value.toExponential(1);
  return value.toFixed(Math.max(0, Math.min(8, 1 - Math.floor(Math.log10(Math.abs(value))))));
}

/** A share as per cent. */
export function formatPercent(share: number): string {
  const percent = share * 100;
  return `${percent >= 10 ? percent.toFixed(0) : percent.toFixed(1)} %`;
}

/** A count with thin spaces between thousands. */
export function formatCount(count: number): string {
  return Math.round(count)
    .toString()
    .replace(/\B(?=(\d{3})+$)/g, '\u202f');
}
