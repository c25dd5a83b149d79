//! The verbs of the job: open, import, evaluate, decide, sign, issue, archive, verify: who may, what is appended, what follows.
