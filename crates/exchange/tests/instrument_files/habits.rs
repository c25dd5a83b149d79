//! The habits of instruments' files, each with a name.

/// One thing that makes a file hard to read.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Habit {
    DecimalComma,
    ThousandsMarks,
    Tabs,
    FixedColumns,
    UnitRow,
    Preamble,
    BlocksOfElements,
    ReplicatesAsColumns,
    MeanRows,
    OverRange,
    Dashes,
    Asterisk,
    Windows1252,
    Ibm437,
    Utf16,
    MonthFirst,
    TwelveHours,
    TimesAlone,
    HourTwice,
    BlankSubtracted,
    DilutionMultiplied,
    Milliabsorbance,
    NamesCut,
    NamesQuoted,
    ZerosLost,
    RowsDoubled,
    RowDamaged,
    SkippedCup,
    CupsAgain,
    OldLineEnds,
    TracesApart,
    TracesTogether,
    TracesTitled,
    NumbersAgain,
    TraceMissing,
    TraceDoubled,
    TraceCut,
    TraceUnequal,
    TimesInMilliseconds,
    PointNumbers,
    NetOnly,
    NetAndTotal,
}

impl Habit {
    pub const ALL: [Habit; 42] = [
        Habit::DecimalComma,
        Habit::ThousandsMarks,
        Habit::Tabs,
        Habit::FixedColumns,
        Habit::UnitRow,
        Habit::Preamble,
        Habit::BlocksOfElements,
        Habit::ReplicatesAsColumns,
        Habit::MeanRows,
        Habit::OverRange,
        Habit::Dashes,
        Habit::Asterisk,
        Habit::Windows1252,
        Habit::Ibm437,
        Habit::Utf16,
        Habit::MonthFirst,
        Habit::TwelveHours,
        Habit::TimesAlone,
        Habit::HourTwice,
        Habit::BlankSubtracted,
        Habit::DilutionMultiplied,
        Habit::Milliabsorbance,
        Habit::NamesCut,
        Habit::NamesQuoted,
        Habit::ZerosLost,
        Habit::RowsDoubled,
        Habit::RowDamaged,
        Habit::SkippedCup,
        Habit::CupsAgain,
        Habit::OldLineEnds,
        Habit::TracesApart,
        Habit::TracesTogether,
        Habit::TracesTitled,
        Habit::NumbersAgain,
        Habit::TraceMissing,
        Habit::TraceDoubled,
        Habit::TraceCut,
        Habit::TraceUnequal,
        Habit::TimesInMilliseconds,
        Habit::PointNumbers,
        Habit::NetOnly,
        Habit::NetAndTotal,
    ];

    /// Whether it is about traces, so that the file has some.
    pub fn has_traces(self) -> bool {
        let first = Habit::ALL.iter().position(|habit| *habit == Habit::TracesApart).unwrap();
        Habit::ALL[first..].contains(&self)
    }

    /// Whether one file can have both.
    pub fn goes_with(self, other: Habit) -> bool {
        use Habit::*;
        let exclude: &[&[Habit]] = &[
            &[Tabs, FixedColumns],
            &[Windows1252, Ibm437, Utf16],
            &[BlankSubtracted, DilutionMultiplied],
            // Line breaks and separators within a name have no place between fixed columns.
            &[FixedColumns, NamesQuoted],
            // One row has one time, so that the readings of a row as columns share it.
            &[ReplicatesAsColumns, MeanRows],
            &[ReplicatesAsColumns, RowsDoubled],
            &[ReplicatesAsColumns, RowDamaged],
            &[ReplicatesAsColumns, BlankSubtracted],
            // Each of these is one row of the file; together they may be the same.
            &[OverRange, Dashes, RowDamaged, SkippedCup],
            &[TracesApart, TracesTogether, TracesTitled],
            &[TimesInMilliseconds, PointNumbers],
            &[NetOnly, NetAndTotal],
            // Times alone cannot say which of two hours it is, nor the day of a later block.
            &[TimesAlone, HourTwice, BlocksOfElements],
        ];
        !exclude.iter().any(|group| group.contains(&self) && group.contains(&other))
    }

    /// Rows that it sets aside.
    pub fn sets_aside(self) -> usize {
        usize::from(self == Habit::RowDamaged)
    }
}
