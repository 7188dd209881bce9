#!/usr/bin/env node
// From sources with `node --conditions=source --import tsx`, otherwise from the build.
const entry = process.execArgv.includes('--conditions=source') ? '../src/index.ts' : '../dist/index.js';
const { processConsole, runCli } = await import(new URL(entry, import.meta.url).href);
process.exitCode = await runCli(process.argv.slice(2), processConsole());
