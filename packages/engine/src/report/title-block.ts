import type { TitleBlock } from './figure.ts';
import type { ReportInput } from './report-input.ts';

/** What stands in the title block of every drawing of a report. */
export function titleBlock(input: ReportInput, shows: string): TitleBlock {
  const refused = input.alignment?.frames.some((frame) => frame.status === 'refused') === true;
  const warned = input.findings.some((finding) => finding.severity !== 'note');
  return {
    job: input.jobName,
    shows,
    frame: `job (frame ${input.alignment?.frames.find((frame) => frame.status === 'fixed')?.frame ?? 'not set'})`,
    date: input.date,
    evidence: refused ? 'a frame is refused' : warned ? 'open warnings' : 'no open warning',
  };
}
