// Report: pictures and the one HTML page of a job. Pure: no browser, no clock, no file access.

export { encodeBase64 } from './base64.ts';
export { CAUTIONS } from './cautions.ts';
export { encodePng, type Picture } from './encode-png.ts';
export { escapeHtml } from './escape-html.ts';
export { formatCount, formatLength, formatPercent, formatUncertainty, formatWithUncertainty } from './format-number.ts';
export { middleOf, REPORT_VIEWS } from './pictures.ts';
export { type DrawItem, type Drawing, drawParallel, type Extent, type View } from './rasterize.ts';
export { renderReport } from './render-report.ts';
export type {
  ReportAdvice,
  ReportAdvisedTie,
  ReportFramePlace,
  ReportFused,
  ReportInput,
  ReportLengthTerm,
  ReportList,
  ReportReach,
  ReportScan,
  ReportSurface,
  ReportTemperature,
  ReportTiePlace,
  ReportTrust,
  ReportTruthRow,
} from './report-input.ts';
export { translateReport } from './translate-report.ts';
