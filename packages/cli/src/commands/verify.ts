import { type VerifyReport, verifyJob } from '@lapjoint/jobs';
import { EXIT } from '../exit-code.ts';
import type { CommonOptions } from '../run-command.ts';
import { type CommandShell, defineCommand, perform } from './command-shell.ts';

function textOf(report: VerifyReport): string {
  const lines: string[] = [];
  const { damage, tornByteLength, entryCount } = report.journal;
  if (damage === null) lines.push(`journal    intact, ${entryCount} entries`);
  else
    lines.push(`journal    DAMAGED: line ${damage.line} ${damage.reason}; ${entryCount} entries before it are intact`);
  if (tornByteLength > 0) lines.push(`           ${tornByteLength} bytes of an interrupted entry are ignored`);
  const broken = report.blobs.filter((blob) => blob.state !== 'intact');
  lines.push(`stored     ${report.blobs.length - broken.length} of ${report.blobs.length} intact`);
  for (const blob of broken) lines.push(`           ${blob.state.toUpperCase()}: ${blob.holds}, ${blob.sha256}`);
  for (const [title, files] of [
    ['sources   ', report.sources],
    ['written   ', report.exports],
  ] as const) {
    const moved = files.filter((file) => file.state !== 'intact');
    lines.push(`${title} ${files.length - moved.length} of ${files.length} where they were and unchanged`);
    for (const file of moved) lines.push(`           ${file.state}: ${file.path}`);
  }
  if (report.unusedBlobCount > 0) {
    lines.push(`unused     ${report.unusedBlobCount} stored pieces of undone or stopped work; harmless`);
  }
  lines.push(
    report.intact ? 'The job is intact.' : 'The job is NOT intact: put the files named above back from a copy.',
  );
  return `${lines.join('\n')}\n`;
}

/** `verify JOB`: recomputes all hashes. */
export function addVerifyCommand(shell: CommandShell): void {
  defineCommand(shell, 'verify <job>', 'Recompute all hashes of a job and say what is missing or changed.', [
    'verify cabin-job',
  ]).action((folder: string, options: CommonOptions) =>
    perform(shell, 'verify', options, async (run) => {
      const report = await verifyJob(folder, run.host);
      run.result({ schema: 'lapjoint/verify', schemaVersion: 1, ...report }, textOf(report));
      run.sayFindings(report.findings);
      return report.intact ? EXIT.done : EXIT.gateFailed;
    }),
  );
}
