import { escapeHtml } from './escape-html.ts';
import { formatUncertainty } from './format-number.ts';
import type { ReportAdvice } from './report-input.ts';
import { dataTable } from './trust-tables.ts';

/** What would help most: the worst place, and what each added tie would leave of its uncertainty. */
export function adviceSection(advice: ReportAdvice | null): string {
  if (advice === null) return '';
  const head = '<h3 id="advice">What would help most</h3>';
  const remark = advice.remark === '' ? '' : `<p class="doubt">${escapeHtml(advice.remark)}</p>`;
  if (advice.worst === null) return `${head}${remark}`;
  const now = advice.worst.uncertainty.total;
  const rows = advice.candidates.map(
    (c, i) =>
      `<tr><td class="n">${i + 1}</td><td>${escapeHtml(c.words)}${c.remark === '' ? '' : `<br><span class="small">${escapeHtml(c.remark)}</span>`}</td><td class="n">${formatUncertainty(now)} mm</td><td class="n">${formatUncertainty(c.after.total)} mm<br>${bars(now, c.after.total)}</td><td class="n">${formatUncertainty(c.largestAfter)} mm</td></tr>`,
  );
  const table =
    rows.length === 0
      ? ''
      : dataTable(
          [
            ['', true],
            ['If this were added', false],
            ['U there now', true],
            ['U there then', true],
            ['Largest U<br>anywhere then', true],
          ],
          rows,
        );
  return `${head}<p><b>The least certain place.</b> ${escapeHtml(advice.worst.words)} If that is more than the job allows, one of these is worth doing before everything is packed up.</p>${table}${remark}<p class="small">U: expanded uncertainty (k = 2), largest direction, predicted from the network as it is with that one tie added. Whether both sessions can see the place is for the person on site.</p>`;
}

/** Now and then as two hairline bars on one scale. */
function bars(now: number, then: number): string {
  const width = 96;
  const share = now > 0 ? Math.max(1, Math.min(width, (width * then) / now)) : 0;
  return `<svg viewBox="0 0 ${width} 9" class="bars" aria-hidden="true"><path d="M0 2 H${width}" class="bar-now"/><path d="M0 6.5 H${share.toFixed(1)}" class="bar-then"/></svg>`;
}
