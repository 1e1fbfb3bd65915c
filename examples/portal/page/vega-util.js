// What vega-interpreter needs of vega-util is in vega itself.
export const { ascending, isString, DisallowedObjectProperties } = globalThis.vega;
