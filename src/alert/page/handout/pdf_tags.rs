//! The structure of a PDF: its parts as a tree, by which programs read it aloud in order, with headings, lists and table heads.

use pdf_writer::types::{StructRole, TableHeaderScope};
use pdf_writer::writers::StructTreeRoot;
use pdf_writer::{Finish, Name, Pdf, Rect, Ref, TextStr};

use super::layout::{Part, Role};

/// Where marks of a part are: page and number on it.
pub(super) type Place = (usize, i32);

/// What the tree is made of.
pub(super) struct Marked<'a> {
    pub(super) parts: &'a [Part],
    /// The marks of each part.
    pub(super) places: &'a [Vec<Place>],
    /// The part of each mark, by page.
    pub(super) on_pages: &'a [Vec<usize>],
    pub(super) pages: &'a [Ref],
    /// Where the figure is: left, bottom, right, top.
    pub(super) figure: [f32; 4],
}

/// Writes the tree; the object of its root.
pub(super) fn write_tags(pdf: &mut Pdf, marked: &Marked, mut next: impl FnMut() -> Ref) -> Ref {
    let root = next();
    let document = next();
    let refs: Vec<Ref> = marked.parts.iter().map(|_| next()).collect();
    let lists: Vec<Ref> = marked.on_pages.iter().map(|_| next()).collect();
    let mut tree = pdf.indirect(root).start::<StructTreeRoot>();
    tree.child(document);
    let mut parents = tree.parent_tree();
    let mut nums = parents.nums();
    for (page, list) in lists.iter().enumerate() {
        nums.insert(page as i32, *list);
    }
    nums.finish();
    parents.finish();
    tree.parent_tree_next_key(lists.len() as i32);
    tree.finish();
    for (list, of_marks) in lists.iter().zip(marked.on_pages) {
        let of_marks = of_marks.iter().map(|part| refs[*part]);
        pdf.indirect(*list).array().items(of_marks);
    }
    let inside = |within: Option<usize>| {
        let parts = marked.parts.iter().enumerate();
        parts
            .filter(move |(_, part)| part.within == within)
            .map(|(place, _)| place)
    };
    let mut element = pdf.struct_element(document);
    element.kind(StructRole::Document).parent(root);
    let mut children = element.children();
    for place in inside(None) {
        children.struct_element(refs[place]);
    }
    children.finish();
    element.finish();
    for (place, part) in marked.parts.iter().enumerate() {
        let mut element = pdf.struct_element(refs[place]);
        element
            .kind(role_of(&part.role))
            .parent(part.within.map_or(document, |within| refs[within]));
        let mut children = element.children();
        for (page, number) in &marked.places[place] {
            children
                .marked_content_ref()
                .page(marked.pages[*page])
                .marked_content_id(*number);
        }
        for child in inside(Some(place)) {
            children.struct_element(refs[child]);
        }
        children.finish();
        match &part.role {
            Role::Heading(_, title) => {
                element.title(TextStr(title));
            }
            Role::Figure(words) => {
                element.alt(TextStr(words));
                let [left, bottom, right, top] = marked.figure;
                let frame = Rect::new(left, bottom, right, top);
                element.attributes().push().layout().bbox(frame);
            }
            Role::ColumnHead => scope(&mut element, TableHeaderScope::Column),
            Role::RowHead => scope(&mut element, TableHeaderScope::Row),
            Role::Cell(columns) if *columns > 1 => {
                element
                    .attributes()
                    .push()
                    .table()
                    .col_span(*columns as i32);
            }
            _ => {}
        }
    }
    root
}

fn scope(element: &mut pdf_writer::writers::StructElement, scope: TableHeaderScope) {
    element.attributes().push().table().scope(scope);
}

fn role_of(role: &Role) -> StructRole {
    match role {
        Role::Heading(1, _) => StructRole::H1,
        Role::Heading(2, _) => StructRole::H2,
        Role::Heading(..) => StructRole::H3,
        Role::Paragraph => StructRole::P,
        Role::List => StructRole::L,
        Role::Item => StructRole::LI,
        Role::ItemBody => StructRole::LBody,
        Role::Figure(_) => StructRole::Figure,
        Role::Table => StructRole::Table,
        Role::TableRow => StructRole::TR,
        Role::ColumnHead | Role::RowHead => StructRole::TH,
        Role::Cell(_) => StructRole::TD,
    }
}

/// What a mark of a part is called in the pages.
pub(super) fn tag_of(role: &Role) -> Name<'static> {
    match role {
        Role::Figure(_) => Name(b"Figure"),
        _ => Name(b"Span"),
    }
}
