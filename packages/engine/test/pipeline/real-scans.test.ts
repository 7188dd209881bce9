import { checkRealScans } from './real-scans-check.ts';

checkRealScans('ten real range scans from nothing', [1]);
