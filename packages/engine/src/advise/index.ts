// Advise: which single added tie would help the worst place most.
export {};
