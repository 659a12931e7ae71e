/** The colours by name, on paper and at night. State is said in words and by hatching first, never by colour alone. */
export const PALETTE = {
  light: {
    paper: '#F6F3EC',
    chart: '#E9E3D6',
    ink: '#1D2A36',
    slate: '#5B6975',
    tide: '#2F6F8F',
    rust: '#B5482A',
    brass: '#A97B16',
    kelp: '#4E6B3A',
  },
  dark: {
    paper: '#12161B',
    chart: '#1B2128',
    ink: '#E8E4DA',
    slate: '#93A0AB',
    tide: '#6FB1CF',
    rust: '#E58B68',
    brass: '#D9B14A',
    kelp: '#9DB985',
  },
} as const

/** The palette as CSS custom properties. */
export function paletteCss(scheme: keyof typeof PALETTE): string {
  return Object.entries(PALETTE[scheme])
    .map(([name, colour]) => `--${name}:${colour};`)
    .join('')
}
