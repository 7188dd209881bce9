// Command line: parses words, calls operations of the jobs package, prints. No computation of its own.
export { EXIT } from './exit-code.ts';
export { runCli } from './program.ts';
export { type CliConsole, processConsole } from './terminal/cli-console.ts';
