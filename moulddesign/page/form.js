// A form drawn from a description that the server makes of a schema; it holds no rule of its own.
const STEPS = [[2, 0.05], [10, 0.1], [40, 0.5], [Infinity, 1]]; // up to which number, which step
const Entry = {
  name: "moulddesign-entry",
  props: ["field", "path", "texts", "errors", "values", "revision", "prefix"],
  emits: ["edit"],
  data() {
    return { text: "", timer: null };
  },
  computed: {
    id() {
      return `${this.prefix}-${this.path.replaceAll(".", "-")}`;
    },
    error() {
      return this.errors[this.path];
    },
    describedBy() {
      return [`${this.id}-help`, this.error ? `${this.id}-error` : ""].join(" ").trim();
    },
    value() {
      return this.values[this.path];
    },
    optionsWithOwn() {
      const known = this.field.options.some((option) => option.value === this.text);
      if (known || this.text === "") return this.field.options;
      return [{ value: this.text, label: this.texts.own_file_chosen }, ...this.field.options];
    },
  },
  watch: {
    revision: { immediate: true, handler: "reset" },
  },
  beforeUnmount() {
    clearTimeout(this.timer);
  },
  methods: {
    reset() {
      // What is being typed just now is not taken from under the hands by an answer on its way.
      if (this.timer && document.activeElement?.id === this.id) return;
      clearTimeout(this.timer);
      const shown = this.value;
      if (this.field.kind === "yes") this.text = shown === true;
      else if (Array.isArray(shown)) this.text = shown.map(this.written).join(this.field.name.endsWith("_mm") ? " x " : "; ");
      else this.text = shown === undefined || shown === null ? "" : this.written(shown);
    },
    // A number with this language's decimal sign; what was typed comes back as text.
    written(value) {
      return typeof value === "number" ? String(value).replace(".", this.texts.decimal ?? ".") : String(value);
    },
    onInput(event) {
      this.text = event.target.value;
      clearTimeout(this.timer);
      this.timer = setTimeout(() => this.send(), 300);
    },
    onChoice(event) {
      this.text = event.target.type === "checkbox" ? event.target.checked : event.target.value;
      this.send();
    },
    send() {
      clearTimeout(this.timer);
      this.timer = null;
      this.$emit("edit", this.path, this.text);
    },
    // A step suits the number that is shown, and ends at the limits.
    step(by) {
      const typed = String(this.text === "" ? this.field.start : this.text).trim().replace(",", ".");
      const number = Number(typed.endsWith(this.field.unit) ? typed.slice(0, typed.length - this.field.unit.length) : typed);
      if (!Number.isFinite(number)) return;
      const size = Math.abs(number);
      const apt = STEPS.find(([most]) => size <= most)[1];
      const amount = this.field.kind === "whole" || size === 0 ? this.field.step : apt;
      const [low, high] = this.field.limits;
      // to the next round figure: one that was computed is left behind at the first step
      const steps = number / amount, whole = by > 0 ? Math.floor(steps + 1e-6) : Math.ceil(steps - 1e-6);
      const next = Math.min(Math.max((whole + by) * amount, low ?? -Infinity), high ?? Infinity);
      this.text = this.written(Number(next.toFixed(6)));
      this.send();
    },
    onKey(event) {
      if (!this.field.step || (event.key !== "ArrowUp" && event.key !== "ArrowDown")) return;
      event.preventDefault();
      this.step((event.key === "ArrowUp" ? 1 : -1) * (event.shiftKey ? 10 : 1));
    },
    async onFile(event) {
      const file = event.target.files[0];
      event.target.value = "";
      if (!file) return;
      const answer = await window.uploadFile(this.field.upload, file);
      this.$emit("edit", this.path, answer.name ?? "", answer.error ?? null);
      if (answer.name) this.text = answer.name;
    },
  },
  template: `
    <div class="field" :class="{ invalid: error, picture: field.pictures || field.radios }" :data-path="path">
      <template v-if="field.kind === 'yes'">
        <label class="checkbox"><input type="checkbox" :id="id" :checked="text" @change="onChoice"
          :aria-describedby="describedBy" /> <span>{{ field.label }}</span></label>
      </template>
      <fieldset v-else-if="field.radios" :aria-describedby="describedBy">
        <legend>{{ field.label }}</legend>
        <div class="radios">
          <label v-for="option in field.options" :key="option.value">
            <input type="radio" :name="id" :value="option.value" :checked="text === option.value" @change="onChoice" />
            <span>{{ option.label }}</span></label>
        </div>
      </fieldset>
      <template v-else-if="field.pictures">
        <fieldset :aria-describedby="describedBy">
          <legend>{{ field.label }}</legend>
          <div class="choices">
            <label v-for="option in optionsWithOwn" :key="option.value" class="choice">
              <input type="radio" :name="id" :value="option.value" :checked="text === option.value"
                @change="onChoice" />
              <img :src="'/pattern/' + option.value" alt="" width="64" height="64" loading="lazy" />
              <span>{{ option.label }}</span>
            </label>
          </div>
        </fieldset>
      </template>
      <template v-else>
        <label :for="id">{{ field.label }}</label>
        <div class="input-row">
          <select v-if="field.kind === 'choice'" :id="id" :value="text" @change="onChoice"
            :aria-describedby="describedBy" :aria-invalid="!!error">
            <option v-for="option in optionsWithOwn" :key="option.value" :value="option.value">{{ option.label }}</option>
          </select>
          <textarea v-else-if="field.kind === 'lines'" :id="id" rows="2" :value="text" @input="onInput" @change="send"
            :aria-describedby="describedBy" :aria-invalid="!!error"></textarea>
          <input v-else :id="id" :type="field.kind === 'date' ? 'date' : 'text'" :value="text"
            :inputmode="field.kind === 'number' ? 'decimal' : field.kind === 'whole' ? 'numeric' : 'text'"
            :placeholder="field.placeholder" autocomplete="off" spellcheck="false"
            :list="field.suggestions.length ? id + '-suggestions' : null"
            @input="onInput" @change="send" @keydown="onKey"
            :aria-describedby="describedBy" :aria-invalid="!!error" />
          <datalist v-if="field.suggestions.length" :id="id + '-suggestions'">
            <option v-for="word in field.suggestions" :key="word" :value="word"></option>
          </datalist>
          <span v-if="field.unit" class="unit">{{ field.unit }}</span>
          <span v-if="field.step" class="steppers">
            <button type="button" :aria-label="texts.less + texts.colon + field.label" @click="step(-1)">&minus;</button>
            <button type="button" :aria-label="texts.more + texts.colon + field.label" @click="step(1)">+</button>
          </span>
        </div>
      </template>
      <label v-if="field.upload" class="upload"><span>{{ texts.own_file }}</span>
        <input type="file" :accept="field.accept" @change="onFile" :aria-label="texts.own_file + texts.colon + field.label" />
      </label>
      <p class="help" :id="id + '-help'">{{ field.help }}<span v-if="field.range"> ({{ field.range }})</span></p>
      <p v-if="error" class="error" :id="id + '-error'" role="alert"><span aria-hidden="true">&#9650;</span> {{ error }}</p>
    </div>`,
};

const Rows = {
  name: "moulddesign-rows",
  components: { Entry },
  props: ["fields", "path", "texts", "errors", "values", "counts", "revision", "prefix", "title"],
  emits: ["edit", "add", "remove", "source"],
  data() {
    return { opened: {} };
  },
  methods: {
    pathOf(field) {
      return this.path ? `${this.path}.${field.name}` : field.name;
    },
    mainFields() {
      return this.fields.filter((field) => field.main && this.applies(field));
    },
    otherFields() {
      return this.fields.filter((field) => !field.main && this.applies(field));
    },
    applies(field) {
      return field.only.every(([name, allowed]) =>
        allowed.includes(this.values[this.path ? `${this.path}.${name}` : name] ?? null));
    },
    hasError(fields) {
      return fields.some((field) => Object.keys(this.errors).some((path) => path.startsWith(this.pathOf(field))));
    },
  },
  template: `
    <template v-for="(group, place) in [mainFields(), otherFields()]" :key="place">
      <component v-if="group.length" :is="place ? 'details' : 'div'" class="group"
        :open="place ? (opened.rest || hasError(group)) : undefined" @toggle="place && (opened.rest = $event.target.open)">
        <summary v-if="place">{{ title ? texts.advanced + texts.colon + title : texts.advanced }}</summary>
        <template v-for="field in group" :key="field.name">
          <fieldset v-if="field.kind === 'rows'" class="entries">
            <legend>{{ field.label }}</legend>
            <p class="help">{{ field.help }}</p>
            <div v-if="field.table" class="scroll"><table class="entry-table">
              <thead><tr><td></td><th v-for="inner in field.fields.filter((one) => one.main)" :key="inner.name" scope="col">{{ inner.unit ? texts.with_unit.replace('{label}', inner.label).replace('{unit}', inner.unit) : inner.label }}</th><td></td></tr></thead>
              <tbody><tr v-for="place in counts[pathOf(field)] ?? 0" :key="place"><th scope="row"><span class="unseen">{{ field.one }} </span>{{ place }}</th>
                <td v-for="inner in field.fields.filter((one) => one.main)" :key="inner.name">
                  <Entry :field="inner" :path="pathOf(field) + '.' + (place - 1) + '.' + inner.name" :texts="texts" :errors="errors"
                    :values="values" :revision="revision" :prefix="prefix" @edit="(...a) => $emit('edit', ...a)" /></td>
                <td><button type="button" class="remove" @click="$emit('remove', pathOf(field), place - 1)"
                  :aria-label="texts.remove + texts.colon + field.one + ' ' + place">&times;</button></td></tr></tbody>
            </table></div>
            <div v-else v-for="place in counts[pathOf(field)] ?? 0" :key="place" class="entry-card" role="group" :aria-label="field.one + ' ' + place">
              <div class="entry-head"><strong>{{ field.one }} {{ place }}</strong>
                <button type="button" v-if="field.sources.length" v-for="source in field.sources" :key="source.value"
                  :aria-pressed="values[pathOf(field) + '.' + (place - 1) + '.source'] === source.value"
                  @click="$emit('source', pathOf(field) + '.' + (place - 1), source.value)">{{ source.label }}</button>
                <button type="button" class="remove" @click="$emit('remove', pathOf(field), place - 1)"
                  :aria-label="texts.remove + texts.colon + field.one + ' ' + place">{{ texts.remove }}</button></div>
              <moulddesign-rows :title="field.one + ' ' + place" :fields="field.fields" :path="pathOf(field) + '.' + (place - 1)" :texts="texts"
                :errors="errors" :values="values" :counts="counts" :revision="revision" :prefix="prefix"
                @edit="(...a) => $emit('edit', ...a)" @add="(...a) => $emit('add', ...a)"
                @remove="(...a) => $emit('remove', ...a)" @source="(...a) => $emit('source', ...a)" />
            </div>
            <p v-if="errors[pathOf(field)]" class="error" role="alert"><span aria-hidden="true">&#9650;</span> {{ errors[pathOf(field)] }}</p>
            <button type="button" @click="$emit('add', pathOf(field))">{{ field.add }}</button>
          </fieldset>
          <Entry v-else :field="field" :path="pathOf(field)" :texts="texts" :errors="errors" :values="values"
            :revision="revision" :prefix="prefix" @edit="(...a) => $emit('edit', ...a)" />
        </template>
      </component>
    </template>`,
};

export default {
  components: { Rows },
  props: ["sections", "texts", "start", "prefix"],
  data() {
    return { values: this.start.values, counts: this.start.counts, errors: this.start.errors, revision: 0 };
  },
  methods: {
    setErrors(errors) {
      this.errors = errors;
    },
    setState(state) {
      this.values = state.values;
      this.counts = state.counts;
      this.errors = state.errors;
      this.revision += 1;
    },
  },
  template: `
    <form class="design-form" @submit.prevent novalidate>
      <section v-for="section in sections" :key="section.name" class="form-section" :aria-label="section.label || section.fields[0].label">
        <h2 v-if="section.label">{{ section.label }}</h2>
        <Rows :title="section.label" :fields="section.fields" :path="section.path" :texts="texts" :errors="errors" :values="values"
          :counts="counts" :revision="revision" :prefix="prefix"
          @edit="(...a) => $emit('edit', a)" @add="(...a) => $emit('add', a)"
          @remove="(...a) => $emit('remove', a)" @source="(...a) => $emit('source', a)" />
      </section>
    </form>`,
};
