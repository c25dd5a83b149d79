//! What a test report says, in the order a reader meets it.
//!
//! [`TestReport`] is plain data. Every figure is text that was rounded elsewhere and carries its unit or stands in a column
//! that does. An empty text means "nothing to say" and leaves its place out; what may not be left out is asked for by
//! [`TestReport::missing_items`].

use serde::Serialize;

/// A test report after ISO/IEC 17025:2017, 7.8.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct TestReport {
    /// Number of the report, unique in the laboratory, like `2026-031-1`.
    pub number: String,
    /// The report this one supersedes, if any.
    pub replaces: Option<Replaced>,
    /// Whether the procedure of evaluation has not been released: every page then says so.
    pub trial: bool,
    /// The laboratory as it was at issue.
    pub laboratory: Party,
    /// Where the work was done, if elsewhere than at the laboratory's address.
    pub place_of_work: String,
    /// The customer, with a way to reach them.
    pub customer: Party,
    /// The order the report answers.
    pub order: String,
    /// When the samples were received.
    pub received: String,
    /// First and last moment of the laboratory's work, from the readings themselves.
    pub measured: Span,
    /// When the report was issued, like `2026-03-14T09:30:00+01:00`; also the date of the file.
    pub issued: String,
    /// Who took the samples, and how.
    pub sampling: Sampling,
    /// The results, in the order they are to be read.
    pub results: Vec<ResultLine>,
    /// Sums of results, in the order they are to be read.
    pub sums: Vec<SumLine>,
    /// Level of confidence of the expanded uncertainties, like `about 95 %`.
    pub coverage: String,
    /// The samples, one line each.
    pub samples: Vec<SampleLine>,
    /// The methods used.
    pub methods: Vec<MethodLine>,
    /// Additions to, deviations or exclusions from the method; none is said when empty.
    pub deviations: Vec<String>,
    /// Flags that were justified by a person, with the reason.
    pub flags: Vec<JustifiedFlag>,
    /// Further information.
    pub notes: Vec<String>,
    /// Opinions and interpretations, apart from the results and with their author.
    pub opinions: Vec<Opinion>,
    /// Who authorised the report.
    pub signatures: Vec<Signature>,
    /// What ties the report to the laboratory's audit trail.
    pub proof: Proof,
    /// The short caution that stands at the foot of every page.
    pub caution: String,
    /// How the results came about; left out when `None`.
    pub annex: Option<Annex>,
}

/// A name and how to reach it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Party {
    /// Name.
    pub name: String,
    /// Address and contact, one line each.
    pub lines: Vec<String>,
}

/// First and last moment of a piece of work.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Span {
    /// The first moment.
    pub first: String,
    /// The last moment; equal to the first for a single moment.
    pub last: String,
}

/// The report a new one supersedes (ISO/IEC 17025:2017, 7.8.8).
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Replaced {
    /// Number of the superseded report.
    pub number: String,
    /// What changed.
    pub changes: Vec<String>,
    /// Why.
    pub reason: String,
}

/// Who took the samples (ISO/IEC 17025:2017, 7.8.2.1 k and 7.8.2.2).
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[serde(tag = "by", rename_all = "snake_case")]
pub enum Sampling {
    /// The customer: the results apply to the samples as received.
    Customer,
    /// The laboratory, after a plan and a method.
    Laboratory {
        /// Sampling plan.
        plan: String,
        /// Sampling method.
        method: String,
    },
}

/// One result.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct ResultLine {
    /// Sample, as named in [`SampleLine::id`].
    pub sample: String,
    /// What was determined, like `cadmium, total`.
    pub analyte: String,
    /// Kind of quantity, like `mass concentration`.
    pub kind: String,
    /// Its unit, like `µg/L`; holds for value, uncertainty, LOQ and limit of this line.
    pub unit: String,
    /// What the quantity is referred to, like `dry mass`; empty where nothing needs to be said.
    pub basis: String,
    /// What was found.
    pub finding: Finding,
    /// Limit of quantification, without its unit; empty where there is none.
    pub loq: String,
    /// What the result was held against, if anything.
    pub limit: Option<Limit>,
    /// The statement of conformity, if one was asked for.
    pub statement: Option<Statement>,
    /// The external provider the result comes from; `None` for the laboratory's own.
    pub external: Option<String>,
}

/// What was found for one sample and analyte.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[serde(tag = "state", rename_all = "snake_case")]
pub enum Finding {
    /// A value.
    Value {
        /// The value, rounded, without its unit.
        value: String,
        /// How sure it is.
        uncertainty: Uncertainty,
    },
    /// Below the limit of quantification, which the line gives.
    BelowLoq,
    /// Not reported.
    Withheld {
        /// Why.
        because: String,
    },
}

/// How sure a value is.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[serde(tag = "state", rename_all = "snake_case")]
pub enum Uncertainty {
    /// An expanded uncertainty.
    Expanded {
        /// U, rounded, in the unit of the value.
        expanded_u: String,
        /// The coverage factor it was expanded with, like `2` or `2.26`.
        coverage_factor: String,
    },
    /// None is stated.
    NotStated {
        /// Why.
        because: String,
    },
}

/// A sum of results.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct SumLine {
    /// What it is called, like `lead + cadmium`.
    pub name: String,
    /// The sample, or the samples whose results are added.
    pub of: String,
    /// Unit of all its figures.
    pub unit: String,
    /// What lies below its LOQ counted as nothing; `None` where a summand is missing.
    pub lower: Option<BoundLine>,
    /// What lies below its LOQ counted as that limit.
    pub upper: Option<BoundLine>,
    /// The summands below their LOQ; may be empty.
    pub below_loq: String,
    /// The summands that are not there; may be empty.
    pub missing: String,
    /// What the sum is held against, if anything.
    pub limit: Option<Limit>,
    /// What both bounds say together, if anything.
    pub statement: Option<Statement>,
}

/// One bound of a sum.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct BoundLine {
    /// The bound, rounded, without its unit.
    pub value: String,
    /// U, rounded, in the unit of the bound.
    pub expanded_u: String,
    /// The coverage factor it was expanded with.
    pub coverage_factor: String,
}

/// What a result is held against (ISO/IEC 17025:2017, 7.8.6).
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Limit {
    /// The limit in words, in the unit of the line, like `at most 5.0`.
    pub text: String,
    /// Where the limit comes from, with its edition.
    pub specification: String,
    /// The decision rule agreed with the customer, with the risk of a wrong statement.
    pub rule: String,
}

/// A statement of conformity.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Statement {
    /// The verdict.
    pub verdict: Verdict,
    /// What is to be added, like `5.0 lies within 5.3 ± 0.4`; may be empty.
    pub detail: String,
}

/// The three verdicts of a statement of conformity.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Verdict {
    /// The result complies with the limit under the decision rule.
    Complies,
    /// It does not comply.
    DoesNotComply,
    /// The rule allows neither statement.
    Inconclusive,
}

/// One sample.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct SampleLine {
    /// The laboratory's identification.
    pub id: String,
    /// Description as the customer gave it, marked as theirs.
    pub description: String,
    /// Condition on receipt.
    pub condition: String,
    /// When it was received, if not with the others.
    pub received: String,
    /// When it was taken; marked as the customer's unless the laboratory sampled.
    pub sampled: String,
}

/// One method.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct MethodLine {
    /// Analyte it was used for.
    pub analyte: String,
    /// Name of the method document, like `cadmium-furnace`.
    pub name: String,
    /// Its version or edition.
    pub version: String,
    /// Title, with the standard it follows.
    pub title: String,
    /// Technique, like `electrothermal atomic absorption spectrometry`.
    pub technique: String,
    /// Analytical line, like `228.8 nm`.
    pub line: String,
}

/// A flag that would have stopped the report, and why it did not.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct JustifiedFlag {
    /// Name of the rule, like `carry-over`.
    pub rule: String,
    /// What it was seen at, like `reading 31`.
    pub subject: String,
    /// What was seen.
    pub seen: String,
    /// Why it does not stop the report.
    pub reason: String,
    /// Who decided.
    pub by: String,
}

/// An opinion or interpretation (ISO/IEC 17025:2017, 7.8.7).
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Opinion {
    /// The opinion.
    pub text: String,
    /// What it rests on.
    pub basis: String,
    /// Who holds it.
    pub author: String,
}

/// A signature under the report.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Signature {
    /// Name in letters.
    pub name: String,
    /// Role, like `reviewer`.
    pub role: String,
    /// What signing means, like `reviewed and authorised`.
    pub meaning: String,
    /// When it was signed.
    pub at: String,
    /// Fingerprint of the key signed with.
    pub key: String,
}

/// What ties the report to the audit trail.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Proof {
    /// Digest of the outcome the figures were taken from.
    pub outcome_digest: String,
    /// Root of the Merkle tree at issue.
    pub tree_root: String,
    /// Number of entries under that root.
    pub tree_size: String,
    /// Edition of the procedure of evaluation.
    pub edition: String,
    /// Version of the program.
    pub program: String,
}

/// How the results came about.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Annex {
    /// Uncertainty budgets, one for each kind of result.
    pub budgets: Vec<Budget>,
    /// Calibrations used.
    pub calibrations: Vec<CalibrationLine>,
    /// How sure each statement of conformity is.
    pub conformity: Vec<ConformityLine>,
    /// Rows of portions weighed into the tube.
    pub portions: Vec<PortionsLine>,
    /// Controls measured with the samples.
    pub controls: Vec<ControlLine>,
    /// Results that were measured more than once and are held against a limit.
    pub repeats: Vec<RepeatLine>,
    /// Figures.
    pub figures: Vec<FigureLine>,
}

/// A result that was measured more than once: who measures until it passes, passes.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct RepeatLine {
    /// Whose result, like `lead in S03`.
    pub of: String,
    /// Times it was repeated.
    pub repeated: String,
    /// Times the method allows, fixed before anything was measured; empty where it states none.
    pub allowed: String,
    /// Chance that one of the results passes although the true value lies at the limit, like `75 %`.
    pub chance: String,
}

/// An uncertainty budget.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Budget {
    /// Whose budget, like `cadmium in well-04, mass concentration`.
    pub title: String,
    /// The result it explains, like `0.41 µg/L, U = 0.04 µg/L (k = 2)`.
    pub result: String,
    /// Contributions, the largest first.
    pub contributions: Vec<Contribution>,
}

/// One line of an uncertainty budget.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Contribution {
    /// The source, in words.
    pub source: String,
    /// Its contribution to the standard uncertainty, with the unit of the result.
    pub u: String,
    /// Its share of the variance, like `62 %`.
    pub share: String,
}

/// A calibration used.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct CalibrationLine {
    /// What was calibrated, like `cadmium at 228.8 nm, run 17`.
    pub title: String,
    /// The model, like `response = a + b · amount, weighted by 1/u²`.
    pub model: String,
    /// Its coefficients.
    pub coefficients: Vec<Coefficient>,
    /// Further facts as (name, text), like number of points or residual standard deviation.
    pub facts: Vec<(String, String)>,
}

/// A coefficient of a calibration.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Coefficient {
    /// Name, like `slope b`.
    pub name: String,
    /// Value, without its unit.
    pub value: String,
    /// Standard error, in the same unit.
    pub standard_error: String,
    /// Unit.
    pub unit: String,
}

/// How sure a statement of conformity is; what is not known is empty.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct ConformityLine {
    /// What is judged, like `cadmium in well-04`.
    pub of: String,
    /// The statement with its limit.
    pub statement: String,
    /// Probability that the limit is kept.
    pub probability: String,
    /// Risk that the statement is wrong.
    pub risk: String,
    /// Width of the guard band with its unit.
    pub guard_band: String,
    /// The risks over all that is judged, in words.
    pub global_risk: String,
}

/// The portions of one row that were weighed into the tube.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct PortionsLine {
    /// Whose, like `cocoa-1, row 12`.
    pub of: String,
    /// The smallest and the largest mass.
    pub masses: String,
    /// What each showed, in the order measured, in the unit of the mean.
    pub found: String,
    /// Their mass-weighted mean with its unit.
    pub mean: String,
    /// Their relative standard deviation; empty where it is not known.
    pub scatter: String,
    /// Their homogeneity factor; empty where it is not known.
    pub homogeneity: String,
    /// How many the method's uncertainty of the mean would need; empty where the method wants none.
    pub needed: String,
}

/// A control measured with the samples.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct ControlLine {
    /// The control, like `method blank P2`.
    pub control: String,
    /// What was found, with its unit.
    pub found: String,
    /// What the method allows.
    pub allowed: String,
    /// Whether it passed.
    pub outcome: ControlOutcome,
}

/// What became of a control.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum ControlOutcome {
    /// Within what the method allows.
    Passed,
    /// Outside, and justified by a person.
    Justified,
    /// Outside.
    Failed,
}

/// A figure of the annex.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct FigureLine {
    /// The drawing as SVG.
    pub svg: String,
    /// What is to be seen, for those who cannot see it.
    pub description: String,
    /// The caption below it.
    pub caption: String,
}

impl FigureLine {
    /// A figure with its own title as caption.
    pub fn of(figure: crate::figure::Figure) -> Self {
        Self { svg: figure.svg, description: figure.description, caption: figure.title }
    }
}
