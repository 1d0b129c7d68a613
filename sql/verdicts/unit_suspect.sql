-- B4: pumps whose values stand where their quantity cannot, with the one unit that would explain it.
-- Grain: pump, quantity; pumps that fit as well. Inputs: unit_measure (see unit_power.sql); unit_factor (pump_id,
--   quantity, factor, cure, looks).
-- Parameters: $day_share, share of the judged days since the first odd one that must be odd.
-- Output: pump_id, quantity; suspect; cure and looks (null where no unit or more than one explains it); looks_any, every
--   unit that might; measured (of the last odd day), unit, basis; odd_days, judged_days (since the first odd one);
--   first_day, last_day (odd); fits_before, whether a day before the first odd one fits.
-- What this pump is known for decides where it is known, and what any pump can have otherwise. A day that fits neither
--   its declared unit nor another says nothing.
with source as (
    select *, measured between fits_lo and fits_hi as fits from unit_measure
),

candidate as (
    select
        source.pump_id,
        source.quantity,
        source.day_local,
        unit_factor.cure,
        unit_factor.looks,
        coalesce(measured * factor between tight_lo and tight_hi, false) as tight
    from source join unit_factor using (pump_id, quantity)
    where not source.fits and measured * factor between wide_lo and wide_hi
),

explained as (
    select
        pump_id,
        quantity,
        day_local,
        case when count(*) filter (where tight) = 1 then any_value(cure) filter (where tight)
            when count(*) = 1 then any_value(cure) end as cure,
        case when count(*) filter (where tight) = 1 then any_value(looks) filter (where tight)
            when count(*) = 1 then any_value(looks) end as looks,
        string_agg(looks, ' or ' order by looks) as looks_any
    from candidate
    group by pump_id, quantity, day_local
),

judged as (
    select source.*, explained.looks_any is not null as odd, explained.cure, explained.looks, explained.looks_any
    from source left join explained using (pump_id, quantity, day_local)
    where source.fits or explained.looks_any is not null
),

begun as (
    select *, min(day_local) filter (where odd) over (partition by pump_id, quantity) as first_day from judged
),

vote as (
    select pump_id, quantity, cure, any_value(looks) as looks, count(*) as days
    from judged
    where odd and cure is not null
    group by pump_id, quantity, cure
),

elected as (
    select pump_id, quantity, arg_max(cure, (days, cure)) as cure, arg_max(looks, (days, cure)) as looks, max(days) as days
    from vote
    group by pump_id, quantity
),

counted as (
    select
        pump_id,
        quantity,
        first_day,
        max(day_local) filter (where odd) as last_day,
        count(*) filter (where odd) as odd_days,
        count(*) filter (where day_local >= first_day) as judged_days,
        coalesce(bool_or(fits and day_local < first_day), false) as fits_before,
        arg_max(measured, day_local) filter (where odd) as measured,
        any_value(unit) as unit,
        arg_max(basis, day_local) filter (where odd) as basis,
        arg_max(looks_any, day_local) filter (where odd) as looks_any
    from begun
    group by pump_id, quantity, first_day
),

unit_suspect as (
    select
        counted.*,
        odd_days > 0 and odd_days >= $day_share * judged_days as suspect,
        if(elected.days >= $day_share * odd_days, elected.cure, null) as cure,
        if(elected.days >= $day_share * odd_days, elected.looks, null) as looks
    from counted left join elected using (pump_id, quantity)
    order by pump_id, quantity
)

select * from unit_suspect
