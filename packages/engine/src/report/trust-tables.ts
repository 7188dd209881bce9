import type { AlignmentResult, TieResult, TieTest } from '../model/index.ts';
import { escapeHtml } from './escape-html.ts';
import { formatCount, formatLength, formatPercent, formatUncertainty } from './format-number.ts';
import type { ReportInput } from './report-input.ts';
import { formatProbability } from './test-remarks.ts';

const DEGREES = 180 / Math.PI;
/** Longest table of closures; the largest come first. */
const CLOSURES_SHOWN = 40;

const KINDS: Readonly<Record<TieResult['kind'], string>> = {
  overlap: 'surface overlap',
  targets: 'common targets',
  picked: 'picked points',
};

const VERDICTS: Readonly<Record<TieTest['verdict'], string>> = {
  agrees: 'agrees',
  'stands-out': 'stands out',
  'cannot-tell': 'cannot tell',
  'not-checked': 'not checked',
};

/** A table in a box that scrolls when it is wider than the sheet. `n` marks columns of numbers. */
export function dataTable(heads: readonly (readonly [string, boolean])[], rows: readonly string[]): string {
  const head = heads.map(([text, isNumber]) => `<th${isNumber ? ' class="n"' : ''}>${text}</th>`).join('');
  return `<div class="wide"><table class="data"><thead><tr>${head}</tr></thead><tbody>${rows.join('')}</tbody></table></div>`;
}

/** Ties that the report names: not those that were not needed. The order numbers them, in drawing and table. */
export function shownTies(alignment: AlignmentResult | null): readonly TieResult[] {
  return alignment?.ties.filter((tie) => tie.status !== 'not-needed') ?? [];
}

/** Table of ties: what each leaves over, what checks it, and what an error in it would do. */
export function tieTable(input: ReportInput, ties: readonly TieResult[]): string {
  if (ties.length === 0) return '<p>No ties.</p>';
  const names = new Map(input.scans.map((scan) => [scan.id, scan.name]));
  const hold = new Map(input.trust?.tiePlaces.map((place) => [place.tie, place.hold]) ?? []);
  const rows = ties.map((tie, i) => {
    const { test } = tie;
    const scans =
      tie.scanA !== null && tie.scanB !== null
        ? `<br><span class="small">${escapeHtml(`${names.get(tie.scanA) ?? tie.scanA} – ${names.get(tie.scanB) ?? tie.scanB}`)}</span>`
        : '';
    const share =
      tie.overlapShare === null ? '' : `<br><span class="small">share ${formatPercent(tie.overlapShare)}</span>`;
    const remarks = [
      tie.status === 'used' ? '' : '<span class="mark">not used</span>',
      tie.weakDirections.length === 0 ? '' : `<span>does not hold ${escapeHtml(tie.weakDirections.join('; '))}</span>`,
      tie.message === '' ? '' : `<span>${escapeHtml(tie.message)}</span>`,
    ].filter((text) => text !== '');
    const cells = [
      `<td class="n">${i + 1}</td>`,
      `<td>${escapeHtml(`${tie.frameA} – ${tie.frameB}`)}${scans}</td>`,
      `<td>${KINDS[tie.kind]}${share}</td>`,
      `<td class="n">${formatCount(tie.count)}</td>`,
      `<td class="n">${formatLength(tie.rms)} mm<br><span class="small">${formatLength(tie.largest)} mm</span></td>`,
      `<td class="n">${lengthOrDash(hold.get(tie.id) ?? null)}</td>`,
      `<td class="n">${tie.redundancy === null ? '–' : formatChecks(tie.redundancy)}</td>`,
      `<td class="n">${test === null || test.verdict === 'not-checked' ? '–' : formatProbability(test.probability)}</td>`,
      `<td>${verdictCell(tie, ties)}</td>`,
      `<td class="n">${lengthOrDash(test?.detectable ?? null)}<br><span class="small">${lengthOrDash(test?.effect ?? null)}</span></td>`,
    ];
    const note =
      remarks.length === 0
        ? ''
        : `<tr class="note"><td></td><td colspan="9" class="small">${remarks.join('. ')}</td></tr>`;
    return `<tr id="tie-${escapeHtml(tie.id)}"${note === '' ? '' : ' class="noted"'}>${cells.join('')}</tr>${note}`;
  });
  const heads: [string, boolean][] = [
    ['No.', true],
    ['Between', false],
    ['Kind', false],
    ['Count', true],
    ['Left over, rms<br>largest', true],
    ['Firm there,<br>U (k = 2)', true],
    ['Checks', true],
    ['Probability', true],
    ['Verdict', false],
    ['Error that would show<br>and what it would do', true],
  ];
  return `${dataTable(heads, rows)}<p class="small">Share: of the smaller scan, how much lies in the overlap. Left over: distance along the surface normal (overlaps), distance of points (targets, picked points). Firm there: how well the two frames hang together at this tie, by the whole network. Checks: how many of the tie's numbers the rest of the network measures as well (redundancy). Probability: of a difference this large when every tie is good, corrected for the number of ties. Error that would show: the smallest error of this tie that the test finds in 80 % of cases; below it, the largest shift of a frame that it would cause.</p>`;
}

/** Redundancy: a count that need not be whole. */
function formatChecks(redundancy: number): string {
  if (redundancy < 0.05) return '0';
  return redundancy < 99.95 ? redundancy.toFixed(1) : formatCount(redundancy);
}

/** Fields smaller than this share of the largest are named together. */
const SMALL_FIELD = 0.3;

/** Fields of an instrument's errors, the largest first; small ones in one line. */
function fieldWords(fields: readonly { readonly sigma: number; readonly length: number }[]): string {
  const sorted = fields.filter((f) => f.sigma > 0).sort((a, b) => b.sigma - a.sigma || a.length - b.length);
  const largest = sorted[0]?.sigma ?? 0;
  if (largest === 0) return 'none found';
  const words = sorted
    .filter((f) => f.sigma >= SMALL_FIELD * largest)
    .map((f) => `${formatUncertainty(f.sigma)} mm over ${f.length.toFixed(0)} mm`);
  const rest = Math.hypot(...sorted.filter((f) => f.sigma < SMALL_FIELD * largest).map((f) => f.sigma));
  return [...words, ...(rest > 0 ? [`and ${formatUncertainty(rest)} mm over other lengths`] : [])].join('<br>');
}

function lengthOrDash(value: number | null): string {
  return value === null ? '–' : `${formatUncertainty(value)} mm`;
}

function verdictCell(tie: TieResult, ties: readonly TieResult[]): string {
  if (tie.status !== 'used') return '–';
  const verdict = tie.test?.verdict ?? 'not-checked';
  const others = (tie.test?.confusedWith ?? [])
    .map((id) => ties.findIndex((t) => t.id === id) + 1)
    .filter((n) => n > 0);
  const also = verdict === 'cannot-tell' && others.length > 0 ? ` from ${others.join(', ')}` : '';
  return `<span class="verdict ${verdict}">${VERDICTS[verdict]}${also}</span>`;
}

/** Sums of poses around loops of ties. */
export function closuresTable(alignment: AlignmentResult): string {
  const { closures } = alignment;
  if (closures.length === 0) return '<p>No loop of ties that go different ways: no closure can be formed.</p>';
  const sorted = [...closures].sort((a, b) => b.translation - a.translation).slice(0, CLOSURES_SHOWN);
  const rows = sorted.map(
    (loop) =>
      `<tr><td>${loop.frames.map((frame) => escapeHtml(frame)).join(' – ')}</td><td class="n">${formatLength(loop.translation)} mm</td><td class="n">${formatLength(loop.angle * DEGREES)}°</td></tr>`,
  );
  const more = closures.length > sorted.length ? ` The ${sorted.length} largest of ${closures.length}.` : '';
  return `${dataTable(
    [
      ['Around', false],
      ['Misclosure', true],
      ['Angle', true],
    ],
    rows,
  )}<p class="small">Poses of the ties multiplied once around the loop: nothing would be left if all ties were perfect.${more}</p>`;
}

/** How well the stated uncertainties of each kind of observation fit. */
export function componentsTable(alignment: AlignmentResult): string {
  const components = alignment.varianceComponents;
  if (components.length === 0) return '';
  const rows = components.map((c) => {
    const ratio = Math.sqrt(Math.max(0, c.factor));
    const spread = c.uncertainty === null || ratio === 0 ? null : c.uncertainty / (2 * ratio);
    const words = ratio > 1.25 ? 'larger than stated' : ratio < 0.8 ? 'smaller than stated' : 'as stated';
    return `<tr><td>${escapeHtml(c.group)}</td><td class="n">${ratio.toFixed(2)}${spread === null ? '' : ` ± ${(2 * spread).toFixed(2)}`}</td><td>${spread !== null && Math.abs(ratio - 1) < 2 * spread ? 'as stated' : words}${spread === null ? ' (too few checks to be sure)' : ''}</td><td class="n">${formatChecks(c.redundancy)}</td><td class="n">${formatCount(c.observationCount)}</td></tr>`;
  });
  return `<h3>How well the stated uncertainties fit</h3>${dataTable(
    [
      ['Kind of observation', false],
      ['Errors found, as a multiple<br>of those stated (± U, k = 2)', true],
      ['In words', false],
      ['Checks', true],
      ['Observations', true],
    ],
    rows,
  )}`;
}

/** What the overlaps say about the instruments. */
export function instrumentTable(alignment: AlignmentResult): string {
  if (alignment.instrumentErrors.length === 0) return '';
  const rows = alignment.instrumentErrors.map((e) => {
    const from =
      e.overlapCount === 0
        ? 'its sheet alone'
        : `${formatCount(e.overlapCount)} ${e.overlapCount === 1 ? 'overlap' : 'overlaps'}, ${formatCount(e.patchCount)} patches`;
    return `<tr><td>${escapeHtml(e.instrument)}</td><td class="n">${formatUncertainty(e.white)} mm</td><td class="n">${fieldWords(e.fields)}</td><td>${from}</td></tr>`;
  });
  return `<h3>What was learned of the instruments</h3>${dataTable(
    [
      ['Instrument', false],
      ['Different from<br>point to point', true],
      ['Alike in neighbouring<br>points', true],
      ['Learned from', false],
    ],
    rows,
  )}<p class="small">Standard deviations along the surface normal. Errors that neighbours share do not average away: they are why a million points of one overlap count as few.</p>`;
}

/** Errors of length and temperature: what no residual shows. */
export function lengthTable(input: ReportInput): string {
  const trust = input.trust;
  if (trust === undefined || trust.lengthTerms.length + trust.temperatures.length === 0) return '';
  const over = trust.largestLength;
  const rows = trust.lengthTerms.map(
    (term) =>
      `<tr><td>${escapeHtml(term.name)}</td><td class="n">${formatUncertainty(2e6 * term.sigma)} µm per m</td><td class="n">${over === null ? '–' : `${formatUncertainty(2 * term.sigma * over)} mm`}</td><td>${term.frames.map((f) => escapeHtml(f)).join(', ')}</td><td>${term.isEstimated ? 'estimated with the poses' : 'counted in every U'}</td></tr>`,
  );
  const lengths =
    rows.length === 0
      ? ''
      : dataTable(
          [
            ['Error of length', false],
            ['U (k = 2)', true],
            [over === null ? 'Over the job' : `Over the job,<br>${formatLength(over / 1000)} m`, true],
            ['Frames', false],
            ['How', false],
          ],
          rows,
        );
  const temperatures = trust.temperatures.map((t) => {
    const offset = t.celsius - 20;
    return `<tr><td>${escapeHtml(t.session)}</td><td>${escapeHtml(t.material)}</td><td class="n">${t.celsius.toFixed(1)} °C ± ${(2 * t.celsiusUncertainty).toFixed(1)} °C</td><td class="n">(${formatLength(1e6 * t.expansion)} ± ${formatUncertainty(2e6 * t.expansionUncertainty)}) µm/(m K)</td><td class="n">${formatLength(-1e6 * t.expansion * offset)} µm per m</td></tr>`;
  });
  const warm =
    temperatures.length === 0
      ? ''
      : `${dataTable(
          [
            ['Session', false],
            ['Material', false],
            ['Temperature (k = 2)', true],
            ['Expansion (k = 2)', true],
            ['Brought to 20 °C by', true],
          ],
          temperatures,
        )}<p class="small">Lengths hold at 20 °C (ISO 1) for the sessions above.</p>`;
  return `<h3>Scale and temperature: what no residual shows</h3>${lengths}${warm}`;
}

/** Parts that stood elsewhere in another session. */
export function movedTable(input: ReportInput): string {
  const moved = input.alignment?.movedParts ?? [];
  if (moved.length === 0) return '';
  const names = new Map(input.scans.map((scan) => [scan.id, scan.name]));
  const rows = moved.map(
    (part) =>
      `<tr><td>${escapeHtml(`${names.get(part.scanA) ?? part.scanA} – ${names.get(part.scanB) ?? part.scanB}`)}</td><td class="n">${formatPercent(part.share)}</td><td class="n">${part.middle.map((v) => v.toFixed(0)).join(', ')} mm</td><td class="n">${formatLength(part.angle * DEGREES)}°</td><td class="n">${formatLength(part.shift)} mm</td><td>${part.freeDirections.length === 0 ? 'known in all directions' : `not known ${escapeHtml(part.freeDirections.join('; '))}`}</td></tr>`,
  );
  return `<h3>Parts that moved</h3><p class="doubt">${moved.length === 1 ? 'A region fits' : `${moved.length} regions fit`} another motion than the rest: a door, a lid or a part that stood elsewhere in the other session. It was kept from bending the rest.</p>${dataTable(
    [
      ['Between', false],
      ['Share of the first', true],
      ['Middle of the region', true],
      ['Turned by', true],
      ['Shifted by', true],
      ['Its motion', false],
    ],
    rows,
  )}`;
}
