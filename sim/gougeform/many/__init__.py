"""One question asked of many things: who shares the work, and the journal in which nothing that is finished is lost."""
