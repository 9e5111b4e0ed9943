// The one place that joins the view library and its template syntax.
import { createContext, h } from '../../vendor/preact.mjs';
import htm from '../../vendor/htm.mjs';
import { useContext } from '../../vendor/preact-hooks.mjs';

export { Component, render } from '../../vendor/preact.mjs';
export { useEffect, useRef, useState } from '../../vendor/preact-hooks.mjs';
export const html = htm.bind(h);

export const AppContext = createContext(null);

/** @returns {{state: any, act: any}} what every screen may look at and do */
export function useApp() {
  return useContext(AppContext);
}
