import { adviceSection } from './advice-section.ts';
import { escapeHtml } from './escape-html.ts';
import { networkFigure } from './network-figure.ts';
import type { ReportInput } from './report-input.ts';
import { type TestOutcome, testRemarks } from './test-remarks.ts';
import { titleBlock } from './title-block.ts';
import {
  closuresTable,
  componentsTable,
  instrumentTable,
  lengthTable,
  movedTable,
  shownTies,
  tieTable,
} from './trust-tables.ts';
import { trustMaps } from './uncertainty-map.ts';

/** Signs that go with the words. */
const SIGNS: Readonly<Record<TestOutcome, string>> = {
  passed: '✓',
  'not passed': '✕',
  'cannot tell': '?',
  'not checked': '○',
};

/**
 * The chapter on trust: the network as a drawing with its tests in the margin, ties, closures, components, what would help
 * most, and the uncertainty on the model.
 */
export function trustSection(input: ReportInput): string {
  const { alignment } = input;
  if (alignment === null) return '';
  const ties = shownTies(alignment);
  const remarks = testRemarks(alignment, ties).map(
    (remark) =>
      `<div class="test ${remark.outcome.replace(' ', '-')}"><b><span class="sign" aria-hidden="true">${SIGNS[remark.outcome]}</span> ${escapeHtml(remark.name)}: ${remark.outcome}</b><p>${escapeHtml(remark.text)}</p>${remark.remedy === '' ? '' : `<p><i>What helps:</i> ${escapeHtml(remark.remedy)}</p>`}</div>`,
  );
  const drawing = networkFigure(alignment, input.trust, ties, titleBlock(input, 'network of frames and ties'));
  return [
    '<h2 id="trust">How far it can be trusted</h2>',
    `<div class="sheet"><div>${drawing}</div><aside aria-label="Tests">${remarks.join('')}</aside></div>`,
    adviceSection(input.trust?.advice ?? null),
    trustMaps(input),
    movedTable(input),
    '<h3 id="ties">Ties and what they leave over</h3>',
    tieTable(input, ties),
    '<h3>Loop closures</h3>',
    closuresTable(alignment),
    componentsTable(alignment),
    instrumentTable(alignment),
    lengthTable(input),
  ].join('');
}
