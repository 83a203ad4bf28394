//! What a person's own query may not call: functions and types that make gigabytes of a number of a few digits.
//!
//! The engine asks for such memory in one piece and does not account for it first, so neither its own limit nor a
//! look at the process from outside comes in time: the system refuses the piece and the program aborts. The plan is
//! looked through before anything of it is computed. All that is left over grows by steps, which the limits meet.

use datafusion::arrow::datatypes::{DataType, Field};
use datafusion::common::Result;
use datafusion::common::tree_node::{TreeNode, TreeNodeRecursion};
use datafusion::logical_expr::{Cast, Expr, LogicalPlan, TryCast};
use datafusion::scalar::ScalarValue;

/// Functions that are left out, by the engine's own name of each, and why. The list was made from the sources of
/// DataFusion 55.2: every function that reserves memory by the value of an argument. One that makes a text or a list
/// longer by what it is given (`concat`, `replace`, `array_concat`) reserves by what is there already, and stays.
const LEFT_OUT: [(&str, &str); 7] = [
    ("array_resize", "it makes a list of any length at once"),
    ("array_repeat", "it makes a list of any length at once"),
    ("range", "it makes a list of any length at once"),
    ("generate_series", "it makes a list of any length at once"),
    ("repeat", "it makes a text of any length at once"),
    (
        "arrow_cast",
        "it names types of any size; write cast(… as …)",
    ),
    (
        "arrow_try_cast",
        "it names types of any size; write try_cast(… as …)",
    ),
];

/// Functions with an argument that says how much is made, which argument that is (from 0), and the most of it.
/// 1,000 characters are more than any column of a table is wide; 10,000 centroids give percentiles to five digits.
const BOUNDED: [(&str, usize, u64); 4] = [
    ("lpad", 1, 1_000),
    ("rpad", 1, 1_000),
    ("approx_percentile_cont", 2, 10_000),
    ("approx_percentile_cont_with_weight", 3, 10_000),
];

/// Items of a list, or bytes of a value, of a type of fixed size. Each value takes all of them, whatever it holds.
const FIXED_SIZE_MAX: i32 = 1_000;

/// Why a plan is not computed; none if it is.
///
/// # Errors
/// Those of the engine's own walk over a plan.
pub(crate) fn not_taken(plan: &LogicalPlan) -> Result<Option<String>> {
    let (mut why, mut of_a_type) = (None, None);
    plan.apply_with_subqueries(|node| {
        for field in node.schema().fields() {
            of_a_type = of_a_type
                .take()
                .or_else(|| too_large_type(field.data_type()));
        }
        node.apply_expressions(|root| {
            root.apply(|part| {
                why = why.take().or_else(|| not_taken_here(part));
                Ok(match &why {
                    None => TreeNodeRecursion::Continue,
                    Some(_) => TreeNodeRecursion::Stop,
                })
            })
        })
    })?;
    // A function that makes such a type says more than the type.
    Ok(why.or(of_a_type))
}

/// What is wrong with an expression, its parts left aside.
fn not_taken_here(part: &Expr) -> Option<String> {
    match part {
        Expr::ScalarFunction(call) => {
            left_out(call.name()).or_else(|| over(call.name(), &call.args))
        }
        Expr::AggregateFunction(call) => over(call.func.name(), &call.params.args),
        Expr::WindowFunction(call) => over(call.fun.name(), &call.params.args),
        Expr::Cast(Cast { field, .. }) | Expr::TryCast(TryCast { field, .. }) => {
            too_large_type(field.data_type())
        }
        _ => None,
    }
}

fn left_out(name: &str) -> Option<String> {
    let (_, reason) = LEFT_OUT.iter().find(|(out, _)| *out == name)?;
    Some(format!("{name} is left out: {reason}"))
}

/// A bounded argument that is not a number written out, or is beyond its bound.
fn over(name: &str, arguments: &[Expr]) -> Option<String> {
    let (_, place, most) = BOUNDED.iter().find(|(bounded, ..)| *bounded == name)?;
    let argument = arguments.get(*place)?;
    let number = match argument {
        Expr::Literal(value, _) => whole_number(value),
        _ => None,
    };
    if number.is_some_and(|number| number <= *most) {
        return None;
    }
    let nth = place + 1;
    Some(format!(
        "argument {nth} of {name} is {argument}; it must be a number written out, {most} at the most"
    ))
}

fn whole_number(value: &ScalarValue) -> Option<u64> {
    match value.cast_to(&DataType::Int64).ok()? {
        // Below nothing is nothing to these functions, and null gives null.
        ScalarValue::Int64(number) => Some(u64::try_from(number.unwrap_or(0)).unwrap_or(0)),
        _ => None,
    }
}

fn too_large_type(kind: &DataType) -> Option<String> {
    let within = |field: &Field| too_large_type(field.data_type());
    match kind {
        DataType::FixedSizeList(_, size) | DataType::FixedSizeBinary(size)
            if *size > FIXED_SIZE_MAX =>
        {
            Some(format!(
                "a type of {size} items is in it; {FIXED_SIZE_MAX} is the most, and a list without a number takes any"
            ))
        }
        DataType::FixedSizeList(item, _)
        | DataType::List(item)
        | DataType::LargeList(item)
        | DataType::ListView(item)
        | DataType::LargeListView(item)
        | DataType::Map(item, _) => within(item),
        DataType::Struct(fields) => fields.iter().find_map(|field| within(field)),
        _ => None,
    }
}
