//! What the program once said or did wrongly, a test for each, in words and typed lines as a person
//! says them. Their names begin with the number that the list of them gives.

mod keeping;
mod limits;
mod sequence;
