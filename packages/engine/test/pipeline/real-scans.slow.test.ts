import { checkRealScans } from './real-scans-check.ts';

checkRealScans(
  'ten real range scans from nothing, twenty starts',
  Array.from({ length: 20 }, (_, i) => i + 1),
);
