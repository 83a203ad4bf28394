-- The highest visible revision of each visit that was ever corrected.
--
-- A row of visits is visible once a receipt names its load. Nearly all visits have revision 1 only. The
-- few with a higher one are in this small table, so the many are read once.
--
-- grain:   one row per visit with a revision above 1
-- key:     visit_id
-- reads:   visits, receipts
-- privacy: private
-- columns:
--   visit_id  text  not null  id of the visit
--   revision  int   not null  its highest revision
-- checks:
--   revision > 1
select
    visit_id as visit_id,
    max(revision) as revision
from visits
where
    revision > 1
    and load_id in (select load_id from receipts)
group by visit_id
