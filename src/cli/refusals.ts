import { type RefusalTable, refuserOf } from '../domain/index.ts'

/** Every reason for which the command line refuses by itself. */
export const CLI_REFUSALS = {
  CLI_USAGE: {
    sentence: 'The words of the command are not understood.',
    wanted: 'a command as its help shows it',
    remedy: 'See "plimsoll help", or --help after a command, for examples.',
  },
  CLI_OUTPUT_LOST: {
    sentence: 'What the command had to say could not be printed; its work is done.',
    wanted: 'an output that takes it',
    remedy: 'Look at the files that were written, or run the command again with another output.',
  },
  CLI_SETTING_FORM: {
    sentence: 'A --set is not of the form name=value.',
    wanted: 'name=value',
    remedy: 'Write it like --set surroundDelayMs=12.',
  },
  CLI_SETTING_UNKNOWN: {
    sentence: 'No setting has that name.',
    wanted: 'the name of a setting',
    remedy: 'Choose a name from the list in the help of the command.',
  },
  CLI_SETTING_VALUE: {
    sentence: 'The value lies outside the range of the setting.',
    wanted: 'a value in the range of the setting',
    remedy: 'Give a value in that range.',
  },
  CLI_SERIES_OF_SEVERAL: {
    sentence: 'Loudness over time, as a series or a picture, was asked for of several files at once.',
    wanted: 'one file with --series or --plot',
    remedy: 'Run the command once for each file.',
  },
  CLI_SEASON_OF_ONE: {
    sentence: 'The table of a season was asked for of one title.',
    wanted: 'several titles with --season',
    remedy: 'Name all titles of the season in one command.',
  },
  CLI_PORT_TAKEN: {
    sentence: 'None of the ports that were tried is free.',
    wanted: 'a port that no other program listens on',
    remedy: 'Name another with --port, or 0 for any that is free.',
  },
  CLI_UPMIX_OUTPUT: {
    sentence: 'An upmix was asked for without an output, or an output named where none is written.',
    wanted: 'an output, or a question about the upmix',
    remedy:
      'Write "plimsoll upmix IN OUT" for a 5.1, or "plimsoll upmix IN --explain AT" (or --suggest-scenes) to be told.',
  },
  CLI_THROUGH_FORM: {
    sentence: 'After --through there are not exactly a stem and an output.',
    wanted: 'a stem and an output',
    remedy: 'Write it last, like --through STEM.wav STEM_OUT.wav.',
  },
} as const satisfies RefusalTable

export const refuse = refuserOf(CLI_REFUSALS)
