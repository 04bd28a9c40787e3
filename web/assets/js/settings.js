export function settingsView() {}
