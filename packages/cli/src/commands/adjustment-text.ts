import { formatLength, formatPercent } from '@lapjoint/engine';
import type { ShownAdjustment, ShownMovedPart, ShownTie, ShownTieTest } from '@lapjoint/jobs';
import { textTable } from '../terminal/text-table.ts';
import { uncertaintyText } from './uncertain-number.ts';

/** What the rest of the network says about a tie, in a few words. */
function verdictText(test: ShownTieTest | null): string {
  switch (test?.verdict) {
    case undefined:
      return '-';
    case 'agrees':
      return 'agrees';
    case 'stands-out':
      return 'STANDS OUT';
    case 'cannot-tell':
      return `this or ${test.confusedWith.join(', ')}`;
    case 'not-checked':
      return 'nothing checks it';
  }
}

/** Ties with their residuals as a table. */
export function tiesText(ties: readonly ShownTie[]): string {
  return textTable(
    ['tie', 'kind', 'frames', 'status', 'count', 'rms', 'largest', 'overlap', 'test', 'finds', 'weak directions'],
    ties.map((tie) => [
      tie.id,
      tie.kind,
      tie.frames.join(' - '),
      tie.status,
      String(Math.round(tie.count)),
      tie.rmsMm === null ? '-' : `${formatLength(tie.rmsMm)} mm`,
      tie.largestMm === null ? '-' : `${formatLength(tie.largestMm)} mm`,
      tie.overlapShare === null ? '-' : formatPercent(tie.overlapShare),
      verdictText(tie.test),
      typeof tie.test?.detectableMm === 'number' ? uncertaintyText(tie.test.detectableMm) : '-',
      tie.weakDirections.join('; ') || 'none',
    ]),
  );
}

function testText(adjustment: ShownAdjustment): string {
  const { globalTest } = adjustment;
  if (globalTest === null) return 'Ties against each other: nothing checks them, there is no redundancy.\n';
  const { passed, probability, degreesOfFreedom } = globalTest;
  const chance = probability < 1e-4 ? 'less than 0.01 %' : `${Number((100 * probability).toPrecision(2))} %`;
  return (
    `Ties against each other: ${passed ? 'they agree within their stated uncertainties' : 'they CONTRADICT each other by more than stated'}` +
    ` (chance of this much by accident ${chance}, redundancy ${Number(degreesOfFreedom.toPrecision(3))}).\n`
  );
}

/** A part that moved, in one sentence. */
function movedText(part: ShownMovedPart): string {
  const [a, b] = part.scans;
  const place = part.middleMm.map((value) => value.toFixed(0)).join(', ');
  const free = part.freeDirections.length === 0 ? '' : `; not held: ${part.freeDirections.join(', ')}`;
  return (
    `Moved part: ${formatPercent(part.share)} of ${a} about (${place}) mm stood elsewhere in ${b}: ` +
    `turned by ${formatLength(part.angleDeg)} deg, its middle moved by ${formatLength(part.shiftMm)} mm${free}. It does not bend the rest.\n`
  );
}

/** What the adjustment says as a whole: its test, components, instruments, parts that moved. */
export function adjustmentText(adjustment: ShownAdjustment | null): string {
  if (adjustment === null) return '';
  const parts = [testText(adjustment), ...adjustment.movedParts.map(movedText)];
  if (adjustment.scales.length > 0) {
    parts.push(
      textTable(
        ['errors of length', 'found', 'U (k = 2)'],
        adjustment.scales.map(({ name, isEstimated, value, uncertainty }) => [
          name,
          isEstimated ? `${formatLength(1000 * value)} mm per m` : 'not estimated',
          `${formatLength(2000 * uncertainty)} mm per m`,
        ]),
      ),
    );
  }
  if (adjustment.varianceComponents.length > 0) {
    parts.push(
      textTable(
        ['observations', 'variance against stated (1 = as stated)', 'standard uncertainty of it', 'redundancy'],
        adjustment.varianceComponents.map(({ group, factor, uncertainty, redundancy }) => [
          group,
          factor.toFixed(2),
          uncertainty === null ? 'too few to say' : uncertainty.toFixed(2),
          formatLength(redundancy),
        ]),
      ),
    );
  }
  if (adjustment.instrumentErrors.length > 0) {
    parts.push(
      textTable(
        ['errors of points', 'independent', 'correlated (over mm of surface)', 'learned from'],
        adjustment.instrumentErrors.map(({ instrument, independentMm, correlated, overlaps, patches }) => [
          instrument,
          `${formatLength(independentMm)} mm`,
          correlated.map((field) => `${formatLength(field.sigmaMm)} mm (${field.lengthMm.toFixed(0)})`).join(', ') ||
            'none',
          overlaps === 0 ? 'the sheet' : `${overlaps} ${overlaps === 1 ? 'overlap' : 'overlaps'}, ${patches} patches`,
        ]),
      ),
    );
  }
  return parts.join('');
}
