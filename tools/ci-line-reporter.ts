import type { Reporter, TestModule } from 'vitest/node';

/** Prints the one closing line that a build host reads: "N passed, N failed, N skipped". */
export default class CiLineReporter implements Reporter {
  onTestRunEnd(modules: readonly TestModule[]): void {
    let passed = 0;
    let skipped = 0;
    let failed = Number(process.env['LAPJOINT_FAILED_GATES'] ?? 0);
    for (const module of modules) {
      let inModule = 0;
      for (const test of module.children.allTests()) {
        inModule++;
        const state = test.result().state;
        if (state === 'passed') passed++;
        else if (state === 'failed') failed++;
        else skipped++;
      }
      // A file that cannot even be loaded is a failure too.
      if (module.state() === 'failed' && (inModule === 0 || module.errors().length > 0)) failed++;
    }
    process.stdout.write(`\n${passed} passed, ${failed} failed, ${skipped} skipped\n`);
  }
}
