import { vectorOfQuaternion } from '../math/index.ts';
import type { FramePose } from '../model/index.ts';
import { CAUTIONS } from './cautions.ts';
import { escapeHtml } from './escape-html.ts';
import { figureHtml, keyLegend } from './figure.ts';
import { formatCount, formatLength, formatPercent, formatUncertainty } from './format-number.ts';
import {
  drawOwnColors,
  drawProvenance,
  drawScans,
  PATTERN_WORDS,
  patternOf,
  REPORT_VIEWS,
  scanColor,
} from './pictures.ts';
import type { ReportFused, ReportInput } from './report-input.ts';
import { REPORT_STYLE } from './report-style.ts';
import { titleBlock } from './title-block.ts';
import { trustSection } from './trust-section.ts';

/** Width of a drawing in pixels: two stand side by side on a page of 1080. */
const DRAWING_WIDTH = 760;

/**
 * Makes the report of a job: one HTML page, self-contained, light, printable, without any script.
 *
 * Every number carries its unit; lengths mm, angles degrees. Same input, same bytes.
 */
export function renderReport(input: ReportInput): string {
  const sections = [
    summarySection(input),
    findingsSection(input),
    capturedSection(input),
    trustSection(input),
    framesSection(input),
    picturesSection(input),
    fusedSection(input),
    truthSection(input),
    `<h2 id="cautions">Cautions</h2><ul>${CAUTIONS.map((text) => `<li>${escapeHtml(text)}</li>`).join('')}</ul>`,
    repeatSection(input),
  ];
  return `<!doctype html><html lang="en"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1"><title>${escapeHtml(input.jobName)} – alignment report</title><style>${REPORT_STYLE}</style></head><body><main>${sections.join('')}</main></body></html>\n`;
}

function summarySection(input: ReportInput): string {
  const frames = input.alignment?.frames ?? [];
  const placed = frames.filter((frame) => frame.status !== 'refused').length;
  const used = input.alignment?.ties.filter((tie) => tie.status === 'used') ?? [];
  const points = input.scans.reduce((sum, scan) => sum + scan.points, 0);
  const triangles = input.scans.reduce((sum, scan) => sum + scan.triangles, 0);
  const open = input.findings.filter((finding) => finding.severity !== 'note').length;
  const cells: [string, string][] = [
    [`${input.scans.length} scans`, `${formatCount(points)} points, ${formatCount(triangles)} triangles`],
    [
      input.alignment === null ? 'not aligned yet' : `${placed} of ${frames.length} frames placed`,
      used.length === 1 ? '1 tie used' : `${used.length} ties used`,
    ],
  ];
  const worst = worstUncertainty(input.fused);
  if (worst !== null)
    cells.push([
      `U ${formatUncertainty(worst.median)} to ${formatUncertainty(worst.high)} mm`,
      'expanded uncertainty (k = 2) of the surface: middle and 95 % value',
    ]);
  cells.push([
    open === 0 ? 'no open warning' : open === 1 ? '1 open warning' : `${open} open warnings`,
    'refusals and warnings, listed below',
  ]);
  return `<h1>${escapeHtml(input.jobName)}</h1><p class="small">Alignment report, ${escapeHtml(input.date)}. Lengths in mm, angles in degrees. Made by Lapjoint ${escapeHtml(input.version)}, seed ${input.seed}.</p><div class="summary">${cells.map(([head, text]) => `<div><b>${escapeHtml(head)}</b><span class="small">${escapeHtml(text)}</span></div>`).join('')}</div>`;
}

function worstUncertainty(fused: ReportFused | null): { readonly median: number; readonly high: number } | null {
  if (fused === null) return null;
  const known = Array.from(fused.expandedUncertainty).filter((value) => Number.isFinite(value));
  if (known.length === 0) return null;
  known.sort((a, b) => a - b);
  return {
    median: known[Math.floor(known.length / 2)],
    high: known[Math.min(known.length - 1, Math.floor(0.95 * known.length))],
  };
}

function findingsSection(input: ReportInput): string {
  const order = { refusal: 0, warning: 1, note: 2 };
  const items = [...input.findings].sort((a, b) => order[a.severity] - order[b.severity]);
  const refusedFrames = input.alignment?.frames.filter((frame) => frame.status === 'refused') ?? [];
  if (items.length === 0 && refusedFrames.length === 0) {
    return '<h2 id="warnings">Warnings</h2><p>None.</p>';
  }
  const frames = refusedFrames.map(
    (frame) =>
      `<div class="refused"><b>Frame ${escapeHtml(frame.frame)} was not placed.</b> ${escapeHtml(frame.message)} <i>What helps:</i> ${escapeHtml(frame.remedy)}</div>`,
  );
  const rows = items.map((item) => {
    const kind = item.severity === 'note' ? '' : item.severity === 'warning' ? 'doubt' : 'refused';
    const word = item.severity === 'note' ? 'Note' : item.severity === 'warning' ? 'Warning' : 'Refused';
    return `<div class="${kind}"><b>${word}, ${escapeHtml(item.subject)}:</b> ${escapeHtml(item.message)} ${item.remedy === '' || item.remedy === 'Nothing to do.' ? '' : `<i>What helps:</i> ${escapeHtml(item.remedy)}`}</div>`;
  });
  return `<h2 id="warnings">Warnings and refusals</h2>${frames.join('')}${rows.join('')}`;
}

function capturedSection(input: ReportInput): string {
  const rows = input.scans.map((scan) => {
    const size = [0, 1, 2].map((i) => formatLength((scan.bounds.max[i] as number) - (scan.bounds.min[i] as number)));
    return `<tr id="scan-${escapeHtml(scan.id)}"><td>${escapeHtml(scan.name)}</td><td>${escapeHtml(scan.session)}</td><td>${escapeHtml(scan.frame)}</td><td>${escapeHtml(scan.instrument)}</td><td class="n">${formatCount(scan.points)}</td><td class="n">${formatCount(scan.triangles)}</td><td class="n">${size.join(' × ')} mm</td><td>${escapeHtml(scan.unit)}</td><td><code title="${escapeHtml(scan.sha256)}">${escapeHtml(scan.sha256.slice(0, 12))}</code></td></tr>`;
  });
  const lists = input.lists.map(
    (list) =>
      `<tr><td>${escapeHtml(list.name)}</td><td>${escapeHtml(list.session)}</td><td>${escapeHtml(list.frame)}</td><td>${list.kind === 'targets' ? 'targets' : 'probed points'}</td><td class="n">${formatCount(list.count)}</td><td><code title="${escapeHtml(list.sha256)}">${escapeHtml(list.sha256.slice(0, 12))}</code></td></tr>`,
  );
  const listTable =
    lists.length === 0
      ? ''
      : `<h3>Targets and probed points</h3><div class="wide"><table class="data"><thead><tr><th>File</th><th>Session</th><th>Frame</th><th>Holds</th><th class="n">Count</th><th>SHA-256</th></tr></thead><tbody>${lists.join('')}</tbody></table></div>`;
  return `<h2 id="captured">What was captured</h2><div class="wide"><table class="data"><thead><tr><th>File</th><th>Session</th><th>Frame</th><th>Instrument</th><th class="n">Points</th><th class="n">Triangles</th><th class="n">Size</th><th>File unit</th><th>SHA-256</th></tr></thead><tbody>${rows.join('')}</tbody></table></div>${listTable}`;
}

function framesSection(input: ReportInput): string {
  if (input.alignment === null)
    return '<h2 id="frames">Frames</h2><p>Not aligned yet: run <code>lapjoint align</code>.</p>';
  const rows = input.alignment.frames.map((frame) => {
    const numbers = poseNumbers(frame);
    return `<tr id="frame-${escapeHtml(frame.frame)}"><td>${escapeHtml(frame.frame)}</td><td>${stateWords(frame)}</td><td class="n">${numbers.translation}</td><td class="n">${numbers.rotation}</td><td class="n">${numbers.sigmaTranslation}</td><td class="n">${numbers.sigmaRotation}</td><td class="n">${reachWords(input, frame.frame)}</td><td>${escapeHtml(frame.message)}${frame.rivals.length > 0 ? ` <span class="mark">Runner-up margin ${formatPercent(frame.rivals[0]?.margin ?? 1)}.</span>` : ''}</td></tr>`;
  });
  const factor = input.alignment.varianceFactor;
  return `<h2 id="frames">How the frames lie</h2><div class="wide"><table class="data"><thead><tr><th>Frame</th><th>State</th><th class="n">Shift<br>x, y, z [mm]</th><th class="n">Rotation vector<br>x, y, z [°]</th><th class="n">U of position<br>(k = 2) [mm]</th><th class="n">U of rotation<br>(k = 2) [°]</th><th class="n">U at its points<br>(k = 2) [mm]</th><th>Evidence</th></tr></thead><tbody>${rows.join('')}</tbody></table></div><p class="small">The pose carries coordinates of the frame to the job's. U of position is stated at the middle of the frame's own scans; away from it the rotation adds to it: the last column gives the least and the largest U over its points, from the placement alone. ${factor === null ? '' : `Variance factor ${formatLength(factor)} (1 expected), redundancy ${formatCount(input.alignment.redundancy)}. `}${input.alignment.converged ? `Settled after ${input.alignment.iterations} rounds.` : `<span class="mark">Not settled after ${input.alignment.iterations} rounds.</span>`}</p>`;
}

/** Least and largest uncertainty over the points of a frame: what the lever arm does. */
function reachWords(input: ReportInput, frame: string): string {
  const reach = input.reaches.find((item) => item.frame === frame);
  return reach === undefined ? '–' : `${formatUncertainty(reach.least)} to<br>${formatUncertainty(reach.largest)}`;
}

function stateWords(frame: FramePose): string {
  if (frame.status === 'fixed') return 'fixed';
  return frame.status === 'adjusted' ? 'placed' : '<span class="mark">refused</span>';
}

function poseNumbers(
  frame: FramePose,
): Record<'translation' | 'rotation' | 'sigmaTranslation' | 'sigmaRotation', string> {
  if (frame.jobFromFrame === null)
    return { translation: '–', rotation: '–', sigmaTranslation: '–', sigmaRotation: '–' };
  const degrees = 180 / Math.PI;
  const vector = vectorOfQuaternion(frame.jobFromFrame.rotation);
  const covariance = frame.covariance;
  const u = (i: number): number => 2 * Math.sqrt(covariance?.[7 * i] ?? Number.NaN);
  const known = covariance !== null;
  return {
    translation: frame.jobFromFrame.translation.map((v) => v.toFixed(3)).join('<br>'),
    rotation: vector.map((v) => (v * degrees).toFixed(4)).join('<br>'),
    sigmaTranslation:
      frame.status === 'fixed'
        ? 'the datum'
        : known
          ? [0, 1, 2].map((i) => formatUncertainty(u(i))).join('<br>')
          : 'not known',
    sigmaRotation:
      frame.status === 'fixed'
        ? 'the datum'
        : known
          ? [3, 4, 5].map((i) => formatUncertainty(u(i) * degrees)).join('<br>')
          : 'not known',
  };
}

function scanLegend(input: ReportInput): string {
  return keyLegend(
    input.surfaces.map((surface, index) => ({
      label: input.scans.find((scan) => scan.id === surface.id)?.name ?? surface.id,
      color: scanColor(index),
      pattern: PATTERN_WORDS[patternOf(index)],
    })),
  );
}

function picturesSection(input: ReportInput): string {
  if (input.surfaces.length === 0) return '';
  const figures = REPORT_VIEWS.map((view, i) =>
    figureHtml(
      `scans-${i + 1}`,
      drawScans(input.surfaces, view, DRAWING_WIDTH),
      titleBlock(input, `scans in place, ${view.name}`),
      '',
    ),
  );
  return `<h2 id="scans">The scans in place</h2>${scanLegend(input)}<div class="pair">${figures.join('')}</div>`;
}

function fusedSection(input: ReportInput): string {
  const fused = input.fused;
  if (fused === null)
    return '<h2 id="fused">The fused surface</h2><p>Not fused yet: run <code>lapjoint fuse</code>.</p>';
  const rows = fused.quality.map(
    (row) =>
      `<tr><td>${escapeHtml(row.name)}</td><td class="n">${escapeHtml(row.value)}</td><td>${escapeHtml(row.meaning)}</td></tr>`,
  );
  const provenance = REPORT_VIEWS.map((view, i) =>
    figureHtml(
      `provenance-${i + 1}`,
      drawProvenance(fused, view, DRAWING_WIDTH),
      titleBlock(input, `where the surface comes from, ${view.name}`),
      '',
    ),
  );
  const own =
    fused.colors === null
      ? ''
      : `<div class="pair">${REPORT_VIEWS.map((view, i) => figureHtml(`colours-${i + 1}`, drawOwnColors(fused, view, DRAWING_WIDTH), titleBlock(input, `fused surface, own colours, ${view.name}`), '')).join('')}</div>`;
  return `<h2 id="fused">The fused surface</h2><div class="wide"><table class="data"><thead><tr><th>Property</th><th class="n">Value</th><th>What it means</th></tr></thead><tbody>${rows.join('')}</tbody></table></div><h3>Where it comes from</h3>${scanLegend(input)}<div class="pair">${provenance.join('')}</div>${own}`;
}

function truthSection(input: ReportInput): string {
  if (input.truth === null) return '';
  const rows = input.truth.frames.map(
    (row) =>
      `<tr><td>${escapeHtml(row.frame)}</td><td class="n">${formatLength(row.rms)} mm</td><td class="n">${formatLength(row.farEnd)} mm</td><td class="n">${row.farEndExpanded === null ? '–' : `${formatLength(row.farEndExpanded)} mm`}</td><td class="n">${formatLength(row.angleDeg)}°</td><td class="n">${row.normalized === null ? '–' : formatLength(row.normalized)}</td></tr>`,
  );
  const lines = input.truth.rows.map(
    ([name, value]) => `<tr><td>${escapeHtml(name)}</td><td class="n">${escapeHtml(value)}</td></tr>`,
  );
  return `<h2 id="truth">Against the known truth (simulated job)</h2><p>This job was simulated, so its true shape and poses are known. The numbers stand as they are.</p><div class="wide"><table class="data"><thead><tr><th>Frame</th><th class="n">Deviation of its<br>points, rms</th><th class="n">Deviation at<br>the far end</th><th class="n">Stated U there<br>(k = 2)</th><th class="n">Angle</th><th class="n">In units of the stated<br>standard uncertainty</th></tr></thead><tbody>${rows.join('')}</tbody></table></div><table class="data"><tbody>${lines.join('')}</tbody></table>`;
}

function repeatSection(input: ReportInput): string {
  return `<h2 id="repeat">How to repeat it</h2><p>Same files, same version, same seed: same bytes. Version ${escapeHtml(input.version)}, seed ${input.seed}. The files are named above by their SHA-256.</p><pre>${input.commands.map((line) => escapeHtml(line)).join('\n')}</pre>`;
}
