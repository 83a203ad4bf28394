//! Expressions of protocols, planned by the engine against the canonical columns: thresholds and the crop that a treatment
//! saves. What is no scalar of those columns is refused, with the reason.
//!
//! It reads no file and knows no visit.

use std::collections::BTreeSet;
use std::sync::{Arc, LazyLock};

use arrow::array::{Array, ArrayRef, AsArray, Float64Array, RecordBatch, StringArray};
use arrow::compute::cast;
use arrow::datatypes::{DataType, Field, Float64Type, Schema, SchemaRef};
use datafusion::common::tree_node::{TreeNode, TreeNodeRecursion};
use datafusion::common::{DFSchema, DataFusionError, SchemaError};
use datafusion::execution::context::SessionState;
use datafusion::logical_expr::simplify::SimplifyContext;
use datafusion::logical_expr::{Expr, ExprSchemable, Operator, Volatility};
use datafusion::optimizer::simplify_expressions::ExprSimplifier;
use datafusion::physical_expr::PhysicalExpr;
use datafusion::physical_expr::utils::collect_columns;
use datafusion::prelude::SessionContext;

use scouting::protocol::planned::{CANONICAL_COLUMNS, Scalar, ThresholdField};
use scouting::protocol::protocol_file::{Damage, Protocol};

/// The longest expression. Those of the catalogue have up to 235 bytes; `1.0+1.0+…` of some 10,000 is met by more
/// recursion than a thread has stack for.
const EXPRESSION_BYTES_MAX: usize = 1_000;

/// A scalar of the canonical columns that was accepted.
#[derive(Debug, Clone)]
struct PlannedScalar {
    physical: Arc<dyn PhysicalExpr>,
    sql: String,
}

impl PlannedScalar {
    fn of(text: &str) -> Result<PlannedScalar, String> {
        if text.len() > EXPRESSION_BYTES_MAX {
            return Err(format!(
                "it has {} bytes, and at most {EXPRESSION_BYTES_MAX} are read",
                text.len()
            ));
        }
        let (logical, sql) = scalar(text)?;
        let physical = simplified(logical)
            .and_then(|expression| ENGINE.create_physical_expr(expression, &PLANNING))
            .map_err(|error| in_one_line(&error))?;
        let found = physical
            .data_type(&COLUMNS)
            .map_err(|error| in_one_line(&error))?;
        match found.is_numeric() {
            true => Ok(PlannedScalar { physical, sql }),
            false => Err(format!(
                "it gives {}, a number is expected",
                of_kind(&found)
            )),
        }
    }

    /// What it gives for the rows of a table that has the canonical columns.
    fn values_of_rows(&self, table: &RecordBatch) -> Result<Float64Array, String> {
        let columns = COLUMNS.fields().iter().map(|field| {
            let column = table.column_by_name(field.name());
            let column = column.ok_or_else(|| format!("there is no column {}", field.name()))?;
            cast(column, field.data_type()).map_err(|error| error.to_string())
        });
        let rows = RecordBatch::try_new(COLUMNS.clone(), columns.collect::<Result<_, _>>()?)
            .map_err(|error| error.to_string())?;
        self.numbers(&rows)
    }

    fn numbers(&self, rows: &RecordBatch) -> Result<Float64Array, String> {
        let result = self
            .physical
            .evaluate(rows)
            .and_then(|value| value.into_array(rows.num_rows()))
            .map_err(|error| in_one_line(&error))?;
        let numbers = cast(&result, &DataType::Float64).map_err(|error| error.to_string())?;
        Ok(numbers.as_primitive::<Float64Type>().clone())
    }
}

impl Scalar for PlannedScalar {
    fn sql(&self) -> &str {
        &self.sql
    }

    fn named(&self) -> BTreeSet<String> {
        let columns = collect_columns(&self.physical);
        columns.iter().map(|one| one.name().to_owned()).collect()
    }

    fn values(&self, fields: &[ThresholdField<'_>]) -> Result<Vec<Option<f64>>, String> {
        Ok(self.numbers(&rows(fields))?.iter().collect())
    }
}

/// Plans the text of an expression.
///
/// # Errors
/// The reason, if it is no scalar of the canonical columns.
pub fn plan(text: &str) -> Result<Arc<dyn Scalar>, String> {
    Ok(Arc::new(PlannedScalar::of(text)?))
}

/// Kilograms of crop per hectare that a treatment saves in each row, by the protocol's own relation: `rows` has the
/// canonical columns, `means` the field means. `None` without a relation; null where it does not cover the crop type, or
/// an amount that it needs is not known.
///
/// # Errors
/// The engine's reason, if a column is lacking or cannot be computed with.
pub fn saved_kg_per_ha(
    protocol: &Protocol,
    rows: &RecordBatch,
    means: &Float64Array,
) -> Option<Result<Float64Array, String>> {
    let damage = protocol.damage.as_ref()?;
    Some(saved(damage, rows, means))
}

fn saved(
    damage: &Damage,
    rows: &RecordBatch,
    means: &Float64Array,
) -> Result<Float64Array, String> {
    let values = |text: &str| PlannedScalar::of(text)?.values_of_rows(rows);
    let slopes = values(&damage.saved_kg_per_ha_per_count)?;
    let beginnings = match &damage.saved_kg_per_ha_at_none {
        Some(text) => values(text)?,
        None => Float64Array::from(vec![0.0; rows.num_rows()]),
    };
    let saved = (0..rows.num_rows()).map(|row| {
        let known = [&slopes, &beginnings, means];
        let all_known = known.iter().all(|values| values.is_valid(row));
        all_known.then(|| beginnings.value(row) + slopes.value(row) * means.value(row))
    });
    Ok(saved.collect())
}

/// The stock engine: no table, no function but its own.
static ENGINE: LazyLock<SessionState> = LazyLock::new(|| SessionContext::new().state());

static COLUMNS: LazyLock<SchemaRef> = LazyLock::new(|| {
    let fields = CANONICAL_COLUMNS.map(|name| {
        let kind = match name {
            "crop_type" | "crop_stage" => DataType::Utf8,
            _ => DataType::Float64,
        };
        Field::new(name, kind, true)
    });
    Arc::new(Schema::new(fields.to_vec()))
});

static PLANNING: LazyLock<DFSchema> = LazyLock::new(|| {
    DFSchema::try_from(COLUMNS.as_ref().clone())
        .expect("the canonical columns have different names")
});

/// The text as one scalar expression, and its SQL without comments.
fn scalar(text: &str) -> Result<(Expr, String), String> {
    let dialect = ENGINE.config().options().sql_parser.dialect;
    let parse = |text: &str| ENGINE.sql_to_expr_with_alias(text, &dialect);
    let parsed = parse(text)
        .map_err(|error| format!("it is not one SQL expression: {}", in_one_line(&error)))?;
    if parsed.alias.is_some() {
        return Err("an alias has no place in it".to_owned());
    }
    let sql = parsed.expr.to_string();
    // The parser writes `- -1` as `--1`, which begins a comment.
    if !parse(&sql).is_ok_and(|again| again == parsed) {
        return Err(format!(
            "it is written out as {sql}, which is something else: use parentheses, as in -(-1.0)"
        ));
    }
    let logical = ENGINE
        .create_logical_expr_from_sql_expr(parsed, &PLANNING)
        .map_err(|error| refused_column(&error))?;
    let mut refused = None;
    let walked = logical.apply(|part| {
        refused = refusal(part);
        Ok(match refused {
            Some(_) => TreeNodeRecursion::Stop,
            None => TreeNodeRecursion::Continue,
        })
    });
    walked.map_err(|error| in_one_line(&error))?;
    match refused {
        Some(reason) => Err(reason),
        None => Ok((logical, sql)),
    }
}

/// As the engine simplifies every expression before it runs it; some functions exist only until then.
fn simplified(expression: Expr) -> Result<Expr, DataFusionError> {
    let context = SimplifyContext::builder()
        .with_schema(Arc::new(PLANNING.clone()))
        .build();
    let simplifier = ExprSimplifier::new(context);
    simplifier.simplify(simplifier.coerce(expression, &PLANNING)?)
}

/// Why a part of an expression has no place in it.
fn refusal(part: &Expr) -> Option<String> {
    let reason = match part {
        // The engine gives a name to some of its own rewriting; one of the file's was refused before.
        Expr::Alias(_)
        | Expr::Column(_)
        | Expr::Literal(..)
        | Expr::Not(_)
        | Expr::IsNull(_)
        | Expr::IsNotNull(_)
        | Expr::IsTrue(_)
        | Expr::IsFalse(_)
        | Expr::Negative(_)
        | Expr::Between(_)
        | Expr::Case(_)
        | Expr::Cast(_)
        | Expr::TryCast(_)
        | Expr::InList(_)
        | Expr::Like(_) => return None,
        Expr::BinaryExpr(binary) => {
            let whole = |side: &Expr| {
                let kind = side.get_type(&*PLANNING);
                kind.is_ok_and(|kind| kind.is_integer())
            };
            let divides = binary.op == Operator::Divide;
            if !(divides && whole(&binary.left) && whole(&binary.right)) {
                return None;
            }
            format!(
                "{part} divides whole numbers and drops the rest: write a decimal point, as in 1.0"
            )
        }
        Expr::ScalarFunction(called) => {
            let name = called.name();
            let given = part.get_type(&*PLANNING);
            match given {
                _ if called.func.signature().volatility != Volatility::Immutable => {
                    format!("{name} does not give the same for the same field every time")
                }
                // What gives texts and lists can give ones that fill the memory: repeat, lpad, range.
                Ok(given) if !given.is_numeric() && given != DataType::Boolean => {
                    format!(
                        "{name} gives {}: only functions that give numbers have a place in it",
                        of_kind(&given)
                    )
                }
                _ => return None,
            }
        }
        Expr::AggregateFunction(_) => {
            format!("{part} is an aggregate: a threshold is computed from one field alone")
        }
        Expr::WindowFunction(_) => {
            "a window function has no place in it: a threshold is computed from one field alone"
                .to_owned()
        }
        Expr::Exists(_)
        | Expr::InSubquery(_)
        | Expr::ScalarSubquery(_)
        | Expr::SetComparison(_) => {
            "a subquery has no place in it: a threshold is computed from one field alone".to_owned()
        }
        _ => format!(
            "{part} has no place in it: only columns, numbers, operators, case and functions have"
        ),
    };
    Some(reason)
}

fn refused_column(error: &DataFusionError) -> String {
    match error.find_root() {
        DataFusionError::SchemaError(schema_error, _) => match schema_error.as_ref() {
            SchemaError::FieldNotFound { field, .. } => format!(
                "there is no column {}: the columns are {}",
                field.name(),
                CANONICAL_COLUMNS.join(", ")
            ),
            _ => in_one_line(error),
        },
        _ => in_one_line(error),
    }
}

fn in_one_line(error: &DataFusionError) -> String {
    let text = error.strip_backtrace();
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

fn of_kind(found: &DataType) -> &'static str {
    match found {
        DataType::Boolean => "true or false",
        DataType::Null => "nothing",
        found if found.is_string() => "text",
        _ => "something else",
    }
}

/// The canonical columns of some fields.
fn rows(fields: &[ThresholdField<'_>]) -> RecordBatch {
    let number = |of: &dyn Fn(&ThresholdField<'_>) -> Option<f64>| -> ArrayRef {
        Arc::new(fields.iter().map(of).collect::<Float64Array>())
    };
    let text = |of: &dyn Fn(&ThresholdField<'_>) -> String| -> ArrayRef {
        Arc::new(StringArray::from_iter_values(fields.iter().map(of)))
    };
    let columns = vec![
        number(&|field| Some(field.economics.treatment_cost.as_ref()?.per_ha())),
        number(&|field| Some(field.economics.market_value.as_ref()?.per_kg())),
        number(&|field| Some(field.economics.plant_population.as_ref()?.per_ha())),
        number(&|field| Some(field.area_ha)),
        text(&|field| field.crop_type.to_owned()),
        text(&|field| field.crop_stage.to_owned()),
    ];
    RecordBatch::try_new(COLUMNS.clone(), columns).expect("the columns are the canonical ones")
}
