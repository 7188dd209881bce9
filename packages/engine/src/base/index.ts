// Base: errors, findings, run context, random streams. Depends on nothing.
export * from './errors.ts';
export * from './findings.ts';
export * from './random.ts';
export * from './run-context.ts';
export * from './translate.ts';
